"""Old samples give no rate in any topic, and two samples widen every range that is given."""

import datetime as dt

import pytest

from findings.field_cases import case_of
from loambrief.case.repeats import treated
from loambrief.case.schema import Repeat
from loambrief.findings.model import Confidence, NeedKind, Status, Verdict
from loambrief.topics import assess
from loambrief.topics.acidity import findings as acidity
from loambrief.topics.salinity import findings as salinity

SODIC = {"depth": "0-6 in", "ph": 8.9, "ec": "6.0 dS/m", "cec": "20 meq/100g",
         "exchangeable_sodium": "5 meq/100g"}
FIELD = {"crop": "alfalfa", "irrigation": "furrow", "drainage": "well drained"}
METHODS = {"ph": "water 1:1", "ec": "saturated-paste", "cec": "ammonium acetate",
           "cations": "ammonium-acetate"}
RATES = (NeedKind.GYPSUM, NeedKind.LEACH, NeedKind.LIME, NeedKind.NUTRIENT, NeedKind.ACIDIFY)


def diagnosed(date, slice_=SODIC, **methods):
    return assess.assess(case_of(slice_=slice_, field=FIELD,
                                 sample={"date": date, "methods": {**METHODS, **methods}}))


def of_sample(found, topic):
    return [f for f in found.findings if f.topic == topic and f.place.id == "A"]


def test_an_old_sample_gives_no_gypsum_and_no_water():
    """ensures that sodium of nine years ago asks for a test, not for gypsum or leaching.

    Source: isu-soil-sampling-2023, samples every 2 to 4 years; the factor is our own choice.
    """
    fresh, old = diagnosed("2026-09-01"), diagnosed("2017-09-01")
    assert {n.kind for f in of_sample(fresh, "salinity") for n in f.needs} >= {
        NeedKind.GYPSUM, NeedKind.LEACH}
    for finding in of_sample(old, "salinity"):
        assert not [n for n in finding.needs if n.kind in RATES]
        assert finding.confidence is Confidence.LOW and finding.severity <= 1
        assert finding.status in (Status.UNCERTAIN, Status.NOTED)
    gypsum, = [j for j in old.judgements if j.key == "gypsum"]
    assert (gypsum.verdict, gypsum.reason) == (Verdict.NOT_JUDGED, "sample_too_old")


def test_an_old_sample_gives_no_magnesium():
    """ensures that magnesium of nine years ago is no need, nor calcium enough by it."""
    slice_ = {"depth": "0-6 in", "ph": 6.8, "magnesium": "20 ppm", "calcium": "1500 ppm",
              "potassium": "200 ppm"}
    assert any(n.item == "Mg" for f in diagnosed("2026-09-01", slice_).findings for n in f.needs)
    old = diagnosed("2017-09-01", slice_)
    assert not any(n.item == "Mg" for f in old.findings for n in f.needs)
    assert all(j.verdict is Verdict.NOT_JUDGED for j in old.judgements if j.key in ("Mg", "Ca"))


def test_past_the_interval_is_less_sure():
    """ensures that five years take a step of confidence from salt too, and no rate."""
    fresh, past = diagnosed("2026-09-01"), diagnosed("2021-12-01")
    for one, other in zip(of_sample(fresh, "salinity"), of_sample(past, "salinity"), strict=True):
        assert bool(one.needs) == bool(other.needs)
        assert (one.confidence, other.confidence) != (Confidence.HIGH, Confidence.HIGH)


def pooled(first, second, methods):
    """A zone of two pooled samples with one slice each."""
    case = case_of(slice_=first, field=FIELD, sample={"methods": methods})
    other = case.samples[0].model_copy(update={
        "id": "A2", "repeats": Repeat.model_validate({"of": "A", "treat": "pool"}),
        "increments": [case_of(slice_=second, field=FIELD,
                               sample={"methods": methods}).samples[0].increments[0]]})
    return treated(case.model_copy(update={"samples": [case.samples[0], other]}))


def span(case, topic, kind):
    need, = [n for f in topic.assess(case).findings for n in f.needs if n.kind is kind][:1]
    return need.high - need.low


@pytest.mark.parametrize("kind", [NeedKind.GYPSUM, NeedKind.LEACH])
def test_two_samples_widen_gypsum_and_leaching(kind):
    """ensures that samples that disagree give a wider range than samples that agree."""
    apart = pooled({**SODIC, "exchangeable_sodium": "4 meq/100g", "ec": "4 dS/m"},
                   {**SODIC, "exchangeable_sodium": "6 meq/100g", "ec": "8 dS/m"}, METHODS)
    assert span(apart, salinity, kind) > span(pooled(SODIC, SODIC, METHODS), salinity, kind)


def test_two_samples_widen_lime():
    """ensures that two buffer readings far apart widen the lime they ask for."""
    methods = {"ph": "water 1:1", "buffer": "smp"}
    slice_ = {"depth": "0-8 in", "ph": 5.4, "buffer_ph": 6.4}
    apart = pooled({**slice_, "buffer_ph": 6.1}, {**slice_, "buffer_ph": 6.7}, methods)
    assert span(apart, acidity, NeedKind.LIME) > span(
        pooled(slice_, slice_, methods), acidity, NeedKind.LIME)


def test_lime_is_not_refused_on_the_word_of_an_old_sample():
    """ensures that only zones with a valid test stand in the advice to leave lime."""
    case = case_of(slice_={"depth": "0-6 in", "ph": 7.2}, field=FIELD,
                   sample={"date": "2026-09-01", "methods": METHODS})
    fresh = case.samples[0]
    old = fresh.model_copy(update={"id": "B", "place": "B", "date": dt.date(2017, 9, 1)})
    found = assess.assess(case.model_copy(update={"samples": [fresh, old]}))
    lime = {j.place.id: j.verdict for j in found.judgements if j.key == "lime"}
    assert lime == {"A": Verdict.NOT_NEEDED, "B": Verdict.NOT_JUDGED}
    refused = [p.id for f in found.findings for what, _ in f.advise_against
               if what.key == "acidity.avoid_lime" for p in what.params["where"]]
    assert refused == ["A"]
