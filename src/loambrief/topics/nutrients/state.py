"""What a case says about its crop, yield, guide and soil tests, worked out once."""

from dataclasses import dataclass, replace

from loambrief.agronomy.crops import Crop, find_crop, yield_in_crop_unit
from loambrief.agronomy.guides import Guide, find_guide, fitting_guides, known_guides
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import known_crop
from loambrief.findings.model import Confidence, Place
from loambrief.findings.places import place_of
from loambrief.topics.acidity.formulas import exchange_acidity
from loambrief.topics.cations.formulas import cec_by_summation, summed_cec_reliability
from loambrief.topics.sampling.age import past_interval
from loambrief.units import plain

DEPTH_TOLERANCE_IN = 1.0
"""A sample counts as taken to the guide's depth within this."""
METHOD_FIELD = {"P2O5": "phosphorus", "K2O": "cations"}
RESULT_FIELD = {"P2O5": "phosphorus", "K2O": "potassium"}
MINOR_FIELDS = {"Zn": "zinc", "B": "boron", "Mn": "manganese", "Cu": "copper", "Fe": "iron",
                "S": "sulfate_s", "Mg": "magnesium", "Ca": "calcium", "Mo": "molybdenum",
                "Cl": "chloride"}
_METHODS = {**MINOR_FIELDS, "S": "sulfur", "Mg": "cations", "Ca": "cations"}
ANY_METHOD = "any"
"""Method of a guide's rule for chloride, of which a case names no extract."""


@dataclass(frozen=True)
class Cec:
    """Exchange capacity for a rule: the laboratory's, or a sum of what was measured."""

    value: float
    kind: str
    """``laboratory``, ``sum`` (bases and acidity) or ``at least`` (bases alone)."""
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class NutrientState:
    case: CaseFile
    crop: Crop
    crop_yield: float | None
    """Yield goal [the crop's own unit per acre]."""
    rotation: tuple[str, ...]
    """Known crops before and after."""
    guide: Guide | None
    """The one that may be used; None if none was named and not exactly one fits."""
    guide_named: bool
    """True if the case names it."""
    unknown_guide: str = ""
    """What the case names where no such guide exists."""
    candidates: tuple[Guide, ...] = ()
    """Guides that fit region, method and crop where the case names none."""

    @property
    def places(self) -> tuple[str | None, ...]:
        """Region and jurisdiction; a town's name (Kansas City) may mislead, so it is left out."""
        return (self.case.farm.region, self.case.case.jurisdiction)

    @property
    def region(self) -> str:
        """All that the case says of where the field is, to look names up in."""
        return " | ".join(p for p in self.places if p)

    def lies_in(self, region: str) -> bool:
        """Whether the case names a state or country: between commas, not inside a word."""
        named = {part.strip().casefold() for p in self.places if p for part in p.split(",")}
        return region.casefold() in named

    @property
    def region_name(self) -> str | None:
        """Where the field is, as printed."""
        return next((p for p in self.places if p), None)

    @property
    def in_region(self) -> bool:
        return self.guide is not None and self.guide.fits_region(*self.places)

    def depth_fits(self, increment: Increment) -> bool:
        """True if the slice ends near the depth the guide was calibrated on."""
        return self.guide is None or (
            abs(increment.bottom_in - self.guide.depth_in) <= DEPTH_TOLERANCE_IN
        )

    def confidence(self, sample: Sample, *, method_matches: bool = True,
                   agrees: bool = True) -> Confidence:
        """The written rule for a soil sample of this case."""
        return grade_confidence(
            past_interval=past_interval(self.case, sample), cores=sample.cores, cores_matter=True,
            method_matches=method_matches, agrees=agrees,
        )


def _rotation(case: CaseFile, crop: Crop) -> tuple[str, ...]:
    others = (known_crop(n) for n in (case.field.previous_crop, case.field.following_crop))
    return tuple(dict.fromkeys(c.name for c in others if c is not None and c.name != crop.name))


def _methods(case: CaseFile) -> dict[str, str | None]:
    """Methods of the tests that were made, if all samples agree."""
    found: dict[str, str | None] = {}
    for nutrient in METHOD_FIELD:
        used = {
            getattr(s.methods, METHOD_FIELD[nutrient]) for s in case.samples
            if any(getattr(i, RESULT_FIELD[nutrient]) is not None for i in s.increments)
        }
        if len(used) == 1:
            found[nutrient] = used.pop()
    return found


def read(case: CaseFile) -> NutrientState:
    """Crop, yield, rotation and guide of a case; ``UnknownName`` if its crop is in no table."""
    crop = find_crop(case.field.crop)
    goal = case.field.yield_goal
    amount = None
    if goal is not None:
        amount = yield_in_crop_unit(crop, goal.value.value, goal.value.unit)
    state = NutrientState(case, crop, amount, _rotation(case, crop), None, case.guide is not None)
    if case.guide is not None:
        if case.guide not in known_guides():
            return replace(state, unknown_guide=case.guide)
        return replace(state, guide=find_guide(case.guide))
    fitting = fitting_guides(crop, _methods(case), state.places)
    return replace(state, guide=fitting[0] if len(fitting) == 1 else None, candidates=fitting)


def minor_method(sample: Sample, element: str) -> str | None:
    """Extract that a test of a minor element was made with; None where it is not stated."""
    return ANY_METHOD if element == "Cl" else getattr(sample.methods, _METHODS[element])


def guide_reads(state: NutrientState, sample: Sample, increment: Increment,
                element: str) -> bool:
    """Whether the guide in use has a rule for the test of a minor element that was made."""
    method = minor_method(sample, element) or ""
    return (state.guide is not None and getattr(increment, MINOR_FIELDS[element]) is not None
            and state.guide.rule(element, state.crop, method) is not None)


def cec_of(sample: Sample, increment: Increment) -> Cec | None:
    """CEC for a rule that rests on it: the laboratory's, else summed, else the bases alone.

    None unless calcium, magnesium and potassium were all measured as numbers, and None where
    a sum means nothing (free lime). Bases alone give a lower bound; it settles a rule only
    where the last band of CEC is open above.
    """
    lab = plain(increment.cec)
    if lab is not None:
        return Cec(lab, "laboratory")
    calcium, magnesium, potassium = (
        plain(increment.calcium), plain(increment.magnesium), plain(increment.potassium))
    if calcium is None or magnesium is None or potassium is None:
        return None
    sound = summed_cec_reliability.evaluate(
        ph=increment.ph, fizz=sample.fizz, carbonate_pct=plain(increment.carbonate)
    )
    if sound.value != "usable":
        return None
    acidity = None
    if sample.methods.buffer is not None and increment.buffer_ph is not None:
        found = exchange_acidity.evaluate(buffer_method=sample.methods.buffer,
                                          buffer_ph=increment.buffer_ph)
        acidity = found if found.value is not None and found.unit == "meq/100g" else None
    bases = {"ca_ppm": calcium, "mg_ppm": magnesium, "k_ppm": potassium,
             "na_ppm": plain(increment.sodium)}
    if acidity is None:
        with subject(place_of(sample, increment), "bases only: a lower bound"):
            least = cec_by_summation.evaluate(**bases, acidity_meq=0.0)
        return Cec(float(least.value), "at least", (least,))
    total = cec_by_summation.evaluate(**bases, acidity_meq=float(acidity.value))
    return Cec(float(total.value), "sum", (acidity, total))


def tilled(case: CaseFile) -> tuple[tuple[Sample, Increment], ...]:
    """Samples with the slice that stands for the tilled layer."""
    pairs = ((s, main_increment(s)) for s in case.samples)
    return tuple((s, i) for s, i in pairs if i is not None)


def zone(sample: Sample) -> Place:
    """The area a sample stands for."""
    return place_of(sample)
