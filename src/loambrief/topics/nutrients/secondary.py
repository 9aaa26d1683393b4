"""Magnesium and calcium by the classes of a guide that prints them."""

from collections.abc import Iterator

from loambrief.agronomy.registry import subject
from loambrief.case.schema import Increment, Sample
from loambrief.findings.model import Finding, Grade, Status, Verdict, say, stated
from loambrief.findings.model import nutrient as judged
from loambrief.findings.places import place_of
from loambrief.topics.nutrients.formulas_soil_tests import secondary_nutrient_class
from loambrief.topics.nutrients.state import NutrientState
from loambrief.units import plain

METHOD = "mehlich-3"
FIELDS = {"Mg": "magnesium", "Ca": "calcium"}
JUDGED = {"very low": (Status.LIMITING, 2), "low": (Status.LIMITING, 2),
          "medium": (Status.WATCH, 1)}


def assess_sample(state: NutrientState, sample: Sample, increment: Increment) -> Iterator[Finding]:
    """Magnesium and calcium of the tilled layer; nothing where the guide prints no classes."""
    if state.guide is None or sample.methods.cations != METHOD:
        return
    place = place_of(sample, increment)
    for nutrient, field in FIELDS.items():
        value = plain(getattr(increment, field))
        if value is None:
            continue
        with subject(place):
            named = secondary_nutrient_class.evaluate(guide=state.guide.name, nutrient=nutrient,
                                                      test_ppm=value)
        if named.value is None:
            continue
        status, severity = JUDGED.get(str(named.value), (Status.ADEQUATE, 0))
        yield Finding(
            id=f"nutrients.{nutrient.lower()}_class.{sample.id}",
            title=say("nutrients.title_secondary", nutrient=nutrient, name=named.value,
                      where=place),
            status=status, severity=severity,
            confidence=state.confidence(sample, method_matches=state.depth_fits(increment)),
            grade=Grade.CALCULATED, value=value, unit="ppm",
            reference=say("nutrients.reference_secondary", guide=state.guide.title,
                          optimum=named.details["optimum_ppm"]),
            place=place,
            body=(say("nutrients.secondary_body", nutrient=nutrient, short=severity > 0),),
            evidence=(stated("nutrients.evidence_secondary", named, nutrient=nutrient, value=value,
                             pounds=named.details["test_lb_ac"], name=named.value),),
            sources=(named.source,), results=(named,),
            judgements=(judged(nutrient, place,
                               Verdict.NOT_NEEDED if severity == 0 else Verdict.NOT_JUDGED,
                               "class_enough" if severity == 0 else "class_short_no_rate",
                               "" if severity == 0 else "other_guide", test=nutrient,
                               guide=state.guide.title, name=str(named.value)),),
        )
