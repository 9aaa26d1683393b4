"""Water of the root zone of each sample, worked out once for findings and chart."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.errors import UnknownName
from loambrief.findings.model import Place
from loambrief.findings.places import place_of
from loambrief.topics.compaction.state import FIELD, cone_state
from loambrief.topics.salinity.state import irrigated
from loambrief.topics.salinity.water import drained_share
from loambrief.topics.soil_water.formulas import (
    allowed_depletion,
    crop_water_use,
    effective_root_depth_in,
    irrigation_interval_days,
    readily_available_water,
    root_zone_water_in,
)
from loambrief.units import MM_PER_INCH, plain


@dataclass(frozen=True)
class CropWater:
    """What the crop asks, the same on the whole field."""

    root: Result
    depth_in: float
    dug: bool
    """The rooting depth was found by digging."""
    use: Result | None
    """Daily use at full cover [in/d]; None without a reference."""
    share: Result
    """Allowed depletion."""
    dense_in: float | None
    """Where the cone met a dense layer inside the rooting depth that nobody has dug up [in]."""


@dataclass(frozen=True)
class HeldWater:
    """Water of a depth of soil, what of it may go, and how long that lasts."""

    held: Result
    allowed: Result
    days: Result | None


@dataclass(frozen=True)
class ZoneWater(HeldWater):
    """What one sample's soil holds for it."""

    sample: Sample
    place: Place
    allowed_ends: tuple[float, float]
    days_ends: tuple[float, float] | None
    above: HeldWater | None
    """That above a dense layer."""

    @property
    def layers(self) -> list[tuple[float, float]]:
        """Bottom [in] and water [in] of each layer."""
        told = self.held.details["layers"]
        return [(float(x["bottom_in"]), float(x["water_in"])) for x in told]


def asked(case: CaseFile) -> bool:
    """The field is irrigated, or the case holds what only this topic reads."""
    return (irrigated(case) or case.field.reference_et is not None
            or case.field.root_depth is not None)


def crop_water(case: CaseFile) -> CropWater | None:
    """Rooting, use and allowed depletion; None where the tables have no such crop."""
    crop, reference = case.field.crop, plain(case.field.reference_et)
    try:
        with subject(crop):
            root = effective_root_depth_in.evaluate(crop=crop)
            if root.value is None:
                return None
            use = (None if reference is None
                   else crop_water_use.evaluate(crop=crop, reference_et=reference))
            share = allowed_depletion.evaluate(
                crop=crop, **({} if use is None else {"daily_use_mm": use.number * MM_PER_INCH}))
    except UnknownName:
        return None
    dug = plain(case.field.root_depth)
    typical = root.number if irrigated(case) else float(root.details["high"])
    dense = dense_from_in(case) if dug is None else None
    return CropWater(root, typical if dug is None else dug, dug is not None, use, share,
                     dense if dense is not None and 0.0 < dense < typical else None)


def zone_water(sample: Sample, crop: CropWater) -> ZoneWater | None:
    """Water of one sample; None without a texture that the tables know."""
    if sample.texture is None:
        return None
    place = place_of(sample)
    with subject(place):
        whole = _water(sample, sample.texture, crop, crop.depth_in)
        above = (_water(sample, sample.texture, crop, crop.dense_in)
                 if crop.dense_in is not None else None)
    if whole is None:
        return None
    low, high = (float(whole.held.details[end]) * crop.share.number for end in ("low", "high"))
    ends = None if crop.use is None else (low / float(crop.use.details["high"]),
                                          high / float(crop.use.details["low"]))
    return ZoneWater(whole.held, whole.allowed, whole.days, sample, place, (low, high), ends, above)


def _water(sample: Sample, texture: str, crop: CropWater, depth_in: float) -> HeldWater | None:
    chain = _chain(sample)
    held = root_zone_water_in.evaluate(
        texture=texture, root_depth_in=depth_in, bottoms_in=[i.bottom_in for i in chain],
        organic_matter_pct=[plain(i.organic_matter) or 0.0 for i in chain])
    if held.value is None:
        return None
    allowed = readily_available_water.evaluate(total=held.number, fraction=crop.share.number)
    return HeldWater(held, allowed, None if crop.use is None else irrigation_interval_days.evaluate(
        allowed=allowed.number, daily_use=crop.use.number))


def _chain(sample: Sample) -> list[Increment]:
    """Slices tested for organic matter that follow each other from the surface down."""
    start = main_increment(sample) or surface_increment(sample)
    chain: list[Increment] = []
    while start is not None and plain(start.organic_matter) is not None:
        chain.append(start)
        start = next((i for i in sample.increments
                      if abs(i.top_in - chain[-1].bottom_in) < 1e-6), None)
    return chain


def dense_from_in(case: CaseFile) -> float | None:
    """Depth at which the cone met a layer over the limit of roots [in]; None without one."""
    cone = cone_state(case)
    zone = None if cone is None else next((z for z in cone.zones if z.key == FIELD), None)
    if cone is None or zone is None or not cone.shows_dense:
        return None
    top = zone.layer.details["top_in"]
    return None if top is None else float(top)


def leaching(case: CaseFile) -> float | None:
    """Share of each irrigation that has to drain [1]; None where it is not known."""
    return drained_share(case) if irrigated(case) else None


