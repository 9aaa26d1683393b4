"""Parts of a field by area, by share and by their shape; what a redacted copy keeps of them."""

import json

import pytest
from case_builders import as_bytes, minimal, sample

from loambrief.case.boundary import shapes
from loambrief.case.load import load_bytes
from loambrief.case.reader import read_text
from loambrief.case.select import treated_share
from loambrief.errors import CaseProblems
from loambrief.record.redact import names_in, redacted_case
from loambrief.report.text import Writer

BOX = [[-83.0, 40.0], [-82.998, 40.0], [-82.998, 40.002], [-83.0, 40.002], [-83.0, 40.0]]
SHAPE = {"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"sample": "B1"},
     "geometry": {"type": "Polygon", "coordinates": [BOX]}}]}


def loaded(**parts):
    return load_bytes(as_bytes(minimal(**parts)), "case.yaml").case


def test_a_share_becomes_an_area():
    """ensures that two fifths of 18 ac are 7.2 ac."""
    case = loaded(samples=[sample(share="40 %"), sample(id="B2", share="60 %")])
    assert [s.area.value for s in case.samples] == pytest.approx([7.2, 10.8])


def test_a_shape_becomes_an_area_where_none_is_stated():
    """ensures that a zone that is only drawn has the area of its shape, and a stated area
    stands before it.
    """
    drawn = shapes(SHAPE)[0].area_ac
    assert loaded(samples=[sample(), sample(id="B2", area="5 ac")],
                  boundary=SHAPE).samples[0].area.value == pytest.approx(drawn)
    assert loaded(samples=[sample(area="9 ac")], boundary=SHAPE).samples[0].area.value == 9.0


@pytest.mark.parametrize(("treat", "expected"), [
    (None, 1.0), ({"share": "25 %", "reason": "the knoll"}, 0.25),
    ({"area": "3 ac", "reason": "the knoll"}, 1 / 3)])
def test_the_treated_part_of_a_zone(treat, expected):
    """ensures that share and area mean the same part."""
    case = loaded(samples=[sample(area="9 ac", **({"treat": treat} if treat else {}))])
    assert treated_share(case, case.samples[0]) == pytest.approx(expected)


@pytest.mark.parametrize(("parts", "field"), [
    ({"samples": [sample(area="9 ac", treat={"share": "130 %", "reason": "r"})]},
     "samples[B1].treat.share"),
    ({"constraints": {"excluded": [{"kind": "sludge", "reason": "r"}]}},
     "constraints.excluded[1].kind")])
def test_a_wrong_value_is_not_also_called_missing(parts, field):
    """ensures that a share or a kind that cannot be read is one problem, not two."""
    with pytest.raises(CaseProblems) as caught:
        loaded(**parts)
    assert [p.field for p in caught.value.problems if p.severity == "error"] == [field]


def test_a_redacted_copy_keeps_areas_and_rulings_without_names():
    """ensures that neighbours and certifiers are struck while a drawn zone keeps its area."""
    data = minimal(
        samples=[sample(), sample(id="B2", area="5 ac")], boundary=SHAPE,
        constraints={"organic": "certified", "neighbours": [
            {"name": "Ottoline Farrow", "setback": "50 ft", "length": "300 ft",
             "kinds": ["manure"], "zone": "B1"}]},
        materials=[{"id": "slag", "name": "Slag", "kind": "lime",
                    "certifier": "Passed by Wendel Krum"}])
    source, _ = read_text(as_bytes(data).decode(), "case.yaml")
    raw = redacted_case(source, "copy", names_in(source), Writer())
    text = raw.decode()
    assert not any(name in text for name in ("Ottoline", "Farrow", "Wendel", "Krum"))
    again = load_bytes(raw, "case.yaml").case
    assert again.samples[0].area.value == pytest.approx(shapes(SHAPE)[0].area_ac, rel=1e-4)
    assert json.loads(text)["materials"][0]["certifier"]
