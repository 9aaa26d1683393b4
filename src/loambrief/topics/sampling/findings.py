"""How well the soil samples stand for the field: cores, area, depth, age, residue."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import age_days, main_increment, sample_area_ac, surface_increment
from loambrief.findings import model as m
from loambrief.findings.confidence import MAX_AGE_DAYS, grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import depth_of, place_of
from loambrief.tables import load
from loambrief.topics.sampling.formulas_error import (
    combined_error_pct,
    composite_error_pct,
    constant,
)

DAYS_PER_YEAR = 365.25
FAR_TOO_LARGE = 2.0
"""Times the advised area from which a sample is worth taking again (our choice)."""
EXAMPLE = "phosphorus"
"""The test whose error is worked out as an example: the most variable of the usual ones."""


def assess(case: CaseFile) -> m.Assessment:
    if not case.samples:
        return m.Assessment(missing=(m.lacks("sampling.missing_soil_test"),))
    return m.Assessment(tuple(_support(case, sample) for sample in case.samples))


def _faults(case: CaseFile, sample: Sample) -> list[tuple[str, m.Message]]:
    """What is not as the guidance asks, by short name."""
    found: list[tuple[str, m.Message]] = []
    few, large = constant("cores_min"), constant("area_max")
    area, age = sample_area_ac(case, sample), age_days(case, sample.date)
    if sample.cores is None:
        found.append(("cores", say("sampling.fault_cores_unknown")))
    elif sample.cores < few:
        found.append(("cores", say("sampling.fault_cores", cores=sample.cores, few=few,
                                   wanted=constant("cores_wanted"))))
    if area > large:
        found.append(("area", say("sampling.fault_area", area=area, large=large)))
    if age > MAX_AGE_DAYS:
        found.append(("age", say("sampling.fault_age", years=age / DAYS_PER_YEAR,
                                 most=MAX_AGE_DAYS / 365)))
    if sample.residue == "left on":
        found.append(("residue", say("sampling.fault_residue")))
    depth = _depth_fault(case, sample)
    if depth is not None:
        found.append(("depth", depth))
    return found


def _depth_fault(case: CaseFile, sample: Sample) -> m.Message | None:
    """The main slice against the depth asked for under this tillage."""
    main, top = main_increment(sample), surface_increment(sample)
    tillage = case.field.tillage
    if main is None and top is None:
        return say("sampling.fault_no_surface")
    if main is None and top is not None:
        return None if tillage == "perennial" else say(
            "sampling.fault_shallow", depth=depth_of(top),
            low=constant("tilled_low"), high=constant("tilled_high"))
    if tillage == "no-till" and top is None:
        return say("sampling.fault_no_till", surface=constant("no_till_surface"),
                   main=constant("no_till_main"))
    return None


def _error(sample: Sample) -> tuple[m.Evidence | None, tuple[Result, ...]]:
    """Error of an example test from its cores and the laboratory, at both ends of the usual CV."""
    if sample.cores is None:
        return None, ()
    row = load("sampling/variation").find(test=EXAMPLE)
    lab = (float(row["same_lab_low"]) + float(row["same_lab_high"])) / 2
    ends, results = [], []
    for cv in (row["field_cv_low"], row["field_cv_high"]):
        field = composite_error_pct.evaluate(cv_pct=float(cv), cores=float(sample.cores))
        both = combined_error_pct.evaluate(field_pct=field.value, lab_pct=lab)
        ends.append(both.value)
        results += [field, both]
    return m.Evidence(
        m.Side.CONTEXT,
        say("sampling.context_error", test=EXAMPLE, cores=sample.cores, low=ends[0], high=ends[1],
            lab=lab),
        m.Grade.CALCULATED, (str(row["field_source"]), str(row["source"])), tuple(results),
    ), tuple(results)


def _support(case: CaseFile, sample: Sample) -> m.Finding:
    place = place_of(sample)
    faults = _faults(case, sample)
    names = [name for name, _ in faults]
    with subject(place):
        error, results = _error(sample)
    enough = "cores" not in names
    evidence = [
        m.Evidence(m.Side.FOR if enough else m.Side.AGAINST,
                   say("sampling.evidence_guides", guides=[
                       {"name": r["programme"], "low": r["cores_low"], "high": r["cores_high"]}
                       for r in load("sampling/guidance")]),
                   m.Grade.MEASURED,
                   tuple(str(r["source"]) for r in load("sampling/guidance"))),
    ]
    if error is not None:
        evidence.append(error)
    age = age_days(case, sample.date)
    return m.Finding(
        id=f"sampling.support.{sample.id}",
        title=say("sampling.title_support", where=place, cores=sample.cores,
                  area=sample_area_ac(case, sample), faults=names),
        status=m.Status.WATCH if faults else m.Status.ADEQUATE,
        severity=1 if faults else 0,
        confidence=grade_confidence(age_days=age, cores=sample.cores, cores_matter=True),
        grade=m.Grade.OBSERVED,
        value=None if sample.cores is None else float(sample.cores),
        unit="cores",
        reference=say("sampling.reference", few=constant("cores_min"),
                      wanted=constant("cores_wanted"), large=constant("area_max")),
        place=place,
        body=(say("sampling.body_sample", date=sample.date, pattern=sample.pattern,
                  depths=[depth_of(i) for i in sample.increments]),
              *(message for _, message in faults)),
        evidence=tuple(evidence),
        needs=_needs(case, sample, place, names),
        sources=("psu-agguide-sampling", "umn-soil-sampling", "osu-sf1-98"),
        results=results,
    )


def _needs(case: CaseFile, sample: Sample, place: m.Place, names: list[str]) -> tuple[m.Need, ...]:
    """A new sample where this one is too old, too thin or stands for far too much.

    An area a little over the guide is said in the finding; it is no reason to pay for a new
    sample now.
    """
    far = sample_area_ac(case, sample) > FAR_TOO_LARGE * constant("area_max")
    if not (set(names) - {"area"} or far):
        return ()
    return (m.Need(
        m.NeedKind.MEASURE, "soil-sample", "",
        say("sampling.need_sample", where=place, wanted=constant("cores_wanted"),
            large=constant("area_max"), area=sample_area_ac(case, sample), faults=names,
            no_till=case.field.tillage == "no-till", surface=constant("no_till_surface"),
            main=constant("no_till_main")),
        place=place, area_ac=sample_area_ac(case, sample), sources=("psu-agguide-sampling",),
        params={"faults": names},
    ),)
