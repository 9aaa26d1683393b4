"""The starter case loads as it is, and with its examples switched on."""

import datetime as dt
import re

import pytest

from loambrief.case.load import load_bytes
from loambrief.case.names import crops
from loambrief.case.starter import starter_case
from loambrief.errors import ImpossibleInput, UnknownName

DAY = dt.date(2026, 3, 2)
NAMES = sorted({row["crop"] for row in crops().values()})


def switched_on(text):
    first, *rest = text.split("\n")
    return "\n".join([first, *(re.sub(r"^# ", "", line) for line in rest)])


@pytest.mark.parametrize("units", ["us", "si"])
def test_loads_as_it_is(units):
    """ensures that an untouched starter has no errors and says what is still to be filled in."""
    loaded = load_bytes(starter_case(units, "corn", "Ohio", DAY).encode(), "new.yaml")
    assert {p.code for p in loaded.warnings} == {"CASE118", "CASE119"}
    assert "case.id" in {p.field for p in loaded.warnings}
    assert loaded.case.case.date == DAY
    assert loaded.case.case.units == units
    assert loaded.case.farm.region == "Ohio"


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("crop", NAMES[::4])
def test_examples_are_right(units, crop):
    """ensures that every example of the starter is valid once its '# ' is taken away."""
    text = switched_on(starter_case(units, crop, None, DAY))
    loaded = load_bytes(text.encode(), "new.yaml")
    assert {p.code for p in loaded.warnings} == {"CASE119"}
    case = loaded.case
    assert case.samples[0].increments[1].phosphorus.value == 19
    assert case.penetrometer.points[1].readings[3] is None
    assert case.field.yield_goal and case.materials and case.water and case.weeds


def test_top_line_and_plain_comments():
    """ensures that the schema line comes first and that every other line has its role."""
    lines = starter_case(date=DAY).splitlines()
    assert lines[0] == "# yaml-language-server: $schema=case.schema.json"
    for line in lines[1:]:
        assert len(line) <= 160
        assert not line.startswith("#") or line.startswith(("# ", "##"))


def test_forage_crops_get_a_forage_test():
    """ensures that hay crops are asked for a hay test and grain crops are not."""
    assert "adf:" in starter_case(crop="lucerne", date=DAY)
    assert 'crop: "alfalfa"' in starter_case(crop="lucerne", date=DAY)
    assert "adf:" not in starter_case(crop="corn", date=DAY)


@pytest.mark.parametrize("region", ['A "q" \\ region: #x', "Île-de-France", "{a: b}", "- x", "*a"])
def test_region_is_quoted(region):
    """ensures that a region with YAML's own signs stays text."""
    loaded = load_bytes(starter_case(region=region, date=DAY).encode(), "new.yaml")
    assert loaded.case.farm.region == region


def test_refusals():
    """ensures that unknown units or crops and unfit regions are refused with a suggestion."""
    with pytest.raises(UnknownName, match=r"did you mean 'soybeans?'"):
        starter_case(crop="soybaen")
    with pytest.raises(UnknownName):
        starter_case(units="metric")
    for region in ("a\nb", "a\x00b", "x" * 201):
        with pytest.raises(ImpossibleInput):
            starter_case(region=region)
