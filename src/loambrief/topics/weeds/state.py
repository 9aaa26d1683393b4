"""The weeds of a case by their accepted names, and what was measured that can test them."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample, Weed
from loambrief.case.select import main_increment, surface_increment
from loambrief.findings.model import Message, say
from loambrief.findings.places import named_place
from loambrief.topics.compaction.formulas import constant as cone_constant
from loambrief.topics.compaction.state import cone_state
from loambrief.topics.salinity.state import salt_state
from loambrief.topics.weeds.formulas import indicator_mean, indicator_weight
from loambrief.topics.weeds.formulas_names import axis_value, common_name, constant, known_species
from loambrief.units import plain

SYSTEM = "plantatt"
BOUNDS = {"reaction": ("acid_below", "neutral_above"), "moisture": ("dry_below", "wet_above"),
          "nutrients": ("poor_below", "rich_above"), "salinity": ("salt_free_below", "salty_above")}
POOR_DRAINAGE = ("poorly drained", "somewhat poorly drained")


class Agreement(StrEnum):
    AGREES = "agrees"
    DIFFERS = "differs"
    MIXED = "mixed"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Seen:
    """One weed of the case; ``accepted`` is None where no table knows the name."""

    weed: Weed
    name: str
    accepted: str | None
    cover: float | None

    @property
    def certainty(self) -> float:
        return constant(self.weed.identification)


@dataclass(frozen=True)
class Axis:
    """One axis of indicator values: its mean if any plant counts, and how it leans."""

    name: str
    used: tuple[Seen, ...]
    mean: Result | None
    enough: bool
    lean: str
    """``low``, ``high`` or ``none``; always ``none`` with too few species."""


@dataclass(frozen=True)
class HintCheck:
    verdict: Agreement
    measured: Message
    results: tuple[Result, ...] = ()


def seen_weeds(case: CaseFile) -> tuple[Seen, ...]:
    """The weeds of a case, in its order; looked up by species, then code, then local name."""
    return tuple(_seen(weed) for weed in case.weeds)


def _seen(weed: Weed) -> Seen:
    known = map(known_species, (weed.species, weed.eppo, weed.local_name))
    row = next((row for row in known if row is not None), None)
    shown = weed.local_name or (common_name(row) if row else weed.species)
    return Seen(weed, shown, str(row["scientific_name"]) if row else None, plain(weed.cover))


def one_each(seen: Iterable[Seen]) -> tuple[Seen, ...]:
    """One entry per species: the one with the most cover, so that no species counts twice."""
    best: dict[str, Seen] = {}
    for item in seen:
        key = item.accepted or item.weed.species
        if key not in best or (item.cover or 0) > (best[key].cover or 0):
            best[key] = item
    return tuple(best.values())


def axis(name: str, seen: tuple[Seen, ...]) -> Axis:
    """Mean of one axis over the weeds that have a name, a cover and a value on it."""
    usable = [(s, axis_value(s.accepted, name, SYSTEM)) for s in one_each(seen)
              if s.accepted is not None and s.cover]
    usable = [(s, value) for s, value in usable if value is not None]
    used = tuple(s for s, _ in usable)
    if not usable:
        return Axis(name, (), None, False, "none")
    with subject("weeds", name):
        weights = [float(indicator_weight.evaluate(certainty=s.certainty, cover_pct=s.cover).value)
                   for s, _ in usable]
        mean = indicator_mean.evaluate(values=[value for _, value in usable], weights=weights)
    enough = mean.details["enough"] == "yes"
    low, high = (constant(bound) for bound in BOUNDS[name])
    lean = "none"
    if enough:
        lean = "low" if mean.value < low else "high" if mean.value > high else "none"
    return Axis(name, used, mean, enough, lean)


def samples_for(case: CaseFile, seen: Iterable[Seen]) -> tuple[Sample, ...]:
    """Samples taken where the weeds stood; all of them where the places do not tell."""
    places = {named_place(case, s.weed.place).id for s in seen if s.weed.place}
    return tuple(s for s in case.samples if s.id in places) or tuple(case.samples)


def _verdict(values: list[float], yes: bool, no: bool) -> Agreement:
    if not values:
        return Agreement.NOT_MEASURED
    return Agreement.AGREES if yes else Agreement.DIFFERS if no else Agreement.MIXED


def check_acid(case: CaseFile, seen: Iterable[Seen], acid: bool = True) -> HintCheck:
    """Acid-leaning (or neutral) weeds against the pH of the tilled layer and the surface."""
    values, salts = [], False
    for sample in samples_for(case, seen):
        for increment in {id(i): i for i in (surface_increment(sample), main_increment(sample))
                          if i is not None}.values():
            if increment.ph is not None:
                values.append(increment.ph)
                salts = salts or sample.methods.ph == "cacl2"
    below = bool(values) and max(values) < constant("acid_ph")
    above = bool(values) and min(values) >= constant("neutral_ph")
    verdict = _verdict(values, below if acid else above, above if acid else below)
    if salts and verdict is not Agreement.NOT_MEASURED:
        verdict = Agreement.MIXED
    return HintCheck(verdict, _measured("ph", values, cacl2=salts))


def check_salt(case: CaseFile, seen: Iterable[Seen]) -> HintCheck:
    """Salt plants against the conductivity of the soil."""
    lows, highs = [], []
    results: list[Result] = []
    for sample in samples_for(case, seen):
        state = salt_state(sample)
        for piece in (state.surface, state.main):
            if piece is None or (piece.ece is None and not piece.bound):
                continue
            lows.append(0.0 if piece.low is None else piece.low)
            highs.append(float("inf") if piece.high is None else piece.high)
            results += piece.results
    verdict = _verdict(lows, bool(lows) and min(lows) >= constant("saline_ece"),
                       bool(highs) and max(highs) < constant("low_ece"))
    finite = [h for h in highs if h != float("inf")]
    return HintCheck(verdict, _measured("ece", lows[:1] and [min(lows), max(finite or lows)],
                                    open=len(finite) < len(highs)), tuple(results))


def check_dense(case: CaseFile, seen: Iterable[Seen]) -> HintCheck:
    """Compaction plants against the penetrometer, in the traffic lanes if they stood there."""
    state = cone_state(case)
    zones = state.zones if state else ()
    cone = case.penetrometer
    wheels = {named_place(case, p.place).id for p in (cone.points if cone else ())
              if p.traffic and p.place}
    places = [named_place(case, s.weed.place).id for s in seen]
    lanes = [z for z in zones if z.key == "traffic"]
    if lanes and places and wheels.issuperset(places):
        zones = tuple(lanes)
    else:
        zones = tuple(z for z in zones if z.key != "traffic") or zones
    shares = [float(z.share.value) for z in zones]
    verdict = _verdict(shares, bool(shares) and max(shares) >= cone_constant("pay_share"),
                       bool(shares) and max(shares) == 0)
    if state is not None and shares and not state.right:
        verdict = Agreement.MIXED
    results = tuple(z.share for z in zones)
    if not results:
        return HintCheck(verdict, say("weeds.measured_none"))
    worst = max(results, key=lambda share: float(share.value)).details
    return HintCheck(verdict, say("weeds.measured_cone", over=worst["over"], n=worst["n"],
                                  right=state.right if state else True), results)


def check_wet(case: CaseFile, wet: bool = True) -> HintCheck:
    """Wet-leaning (or dry-leaning) weeds against the drainage that the case states."""
    drainage = case.field.drainage
    if drainage == "unknown":
        return HintCheck(Agreement.NOT_MEASURED, say("weeds.measured_none"))
    poor, good = drainage in POOR_DRAINAGE, drainage == "well drained"
    verdict = Agreement.MIXED
    if poor or good:
        verdict = Agreement.AGREES if poor == wet else Agreement.DIFFERS
    return HintCheck(verdict, say("weeds.measured_drainage", drainage=drainage))


def _measured(kind: str, values: list[float], **more: object) -> Message:
    if not values:
        return say("weeds.measured_none")
    return say(f"weeds.measured_{kind}", low=min(values), high=max(values), **more)
