"""Cone readings of a case in inches and psi, traffic lanes kept apart from the field."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Penetrometer
from loambrief.case.select import age_days
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import Confidence, Place
from loambrief.findings.places import field_place, spots_place
from loambrief.topics.compaction.formulas import (
    compacted_layer,
    compaction_rating,
    compaction_share,
    constant,
    penetration_profile,
    threshold_psi,
)
from loambrief.topics.compaction.formulas_cone import penetrometer_moisture_check
from loambrief.units import DIMENSIONS

FIELD, TRAFFIC = "field", "traffic"


@dataclass(frozen=True)
class ConeZone:
    """The pushes of one kind of place and what the formulas make of them."""

    key: str
    place: Place
    places: tuple[str, ...]
    area_ac: float | None
    readings: tuple[float, ...]
    """Every reading [psi]."""
    profile: Result
    layer: Result
    share: Result
    rating: Result

    @property
    def points(self) -> int:
        return int(self.share.details["n"])

    @property
    def dense_depths(self) -> tuple[float, ...]:
        """Depths at which at least one reading is over the limit [in]."""
        details = self.profile.details
        return tuple(
            depth for depth, pct in zip(details["depths_in"], details["share_pct"],
                                        strict=True) if pct > 0
        )

    @property
    def advises_subsoiling(self) -> bool:
        return self.rating.details["subsoiling"] == "yes"

    @property
    def clear_advice(self) -> bool:
        """True if both ends of the interval lie on the same side of the limit that decides."""
        low, high = self.share.details["low"], self.share.details["high"]
        pay = constant("pay_share")
        return (low >= pay) == (high >= pay)


@dataclass(frozen=True)
class ConeState:
    cone: Penetrometer
    moisture: Result
    zones: tuple[ConeZone, ...]
    case: CaseFile

    @property
    def right(self) -> bool:
        """True if the soil was moist enough for the readings to decide about loosening."""
        return self.moisture.value == "usable"

    @property
    def shows_dense(self) -> bool:
        return bool(self.moisture.details["shows_dense"])

    @property
    def shows_loose(self) -> bool:
        return bool(self.moisture.details["shows_loose"])

    def confidence(self, zone: ConeZone) -> Confidence:
        return grade_confidence(
            age_days=age_days(self.case, self.cone.date),
            method_matches=self.right and self.cone.cone != "other",
            enough_replicates=zone.points >= constant("points_low") and zone.clear_advice,
        )


def cone_state(case: CaseFile) -> ConeState | None:
    """Zones of a case; None without a penetrometer. A zone needs at least one reading."""
    cone = case.penetrometer
    if cone is None:
        return None
    with subject(field_place(case), cone.date.isoformat()):
        moisture = penetrometer_moisture_check.evaluate(moisture=cone.moisture)
    zones = (_zone(case, cone, FIELD), _zone(case, cone, TRAFFIC))
    return ConeState(cone, moisture, tuple(z for z in zones if z is not None), case)


def _zone(case: CaseFile, cone: Penetrometer, key: str) -> ConeZone | None:
    to_psi = DIMENSIONS["pressure"].factors[cone.pressure_unit]
    to_in = DIMENSIONS["depth"].factors[cone.depth_unit]
    points = [p for p in cone.points
              if p.traffic == (key == TRAFFIC) and any(r is not None for r in p.readings)]
    if not points:
        return None
    pushes = [[None if r is None else r * to_psi for r in p.readings] for p in points]
    taken = [i for i in range(len(cone.depths)) if any(p[i] is not None for p in pushes)]
    depths = [round(cone.depths[i] * to_in, 4) for i in taken]
    pushes = [[p[i] for i in taken] for p in pushes]
    limit, rated = threshold_psi("limit"), constant("rated_depth")
    highest = [max((r for d, r in zip(depths, p, strict=True) if r is not None and d <= rated),
                   default=None) for p in pushes]
    places = tuple(dict.fromkeys(p.place for p in points if p.place))
    place = spots_place(case, TRAFFIC, places) if key == TRAFFIC else field_place(case)
    if all(r is None for r in highest):
        return None
    with subject(place):
        profile = penetration_profile.evaluate(depths_in=depths, profiles=pushes,
                                               threshold_psi=limit)
        share = compaction_share.evaluate(readings=highest, threshold_psi=limit)
        return ConeZone(
            key=key,
            place=place,
            places=places,
            area_ac=case.field.area.value if key == FIELD else None,
            readings=tuple(r for p in pushes for r in p if r is not None),
            profile=profile,
            layer=compacted_layer.evaluate(
                depths_in=depths, readings_psi=list(profile.details["median_psi"]),
                threshold_psi=limit),
            share=share,
            rating=compaction_rating.evaluate(
                share_pct=share.value, low_pct=share.details["low"],
                high_pct=share.details["high"]),
        )
