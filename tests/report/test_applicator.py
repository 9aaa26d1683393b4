"""The spreading sheet: exact totals, which zone, what comes first, validity, as-applied box."""

from pathlib import Path

import pytest

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.render.plain import render_plain
from loambrief.report.applicator import applicator_sheet, spread_actions
from loambrief.report.text import Writer

SAMPLES = Path(__file__).parents[2] / "sample_inputs"


@pytest.fixture(scope="module", params=["us", "si"])
def sheet(request):
    loaded = load_case(SAMPLES / "acid_corn_ohio" / "case.yaml", units=request.param)
    plan = pipeline.advise(loaded).plan
    writer = Writer("en", request.param, "USD")
    return loaded.case, plan, writer, applicator_sheet(loaded.case, plan, writer)


def text(model):
    return " ".join(render_plain(model).decode().split()).replace("\u00a0", " ")


def test_totals_are_those_of_the_order(sheet):
    """ensures that each total is the amount that is ordered, never rounded to whole tons."""
    _, plan, writer, model = sheet
    for action in spread_actions(plan):
        total = writer.order(action.total, action.total_unit).replace("\u00a0", " ")
        assert f"{total} in all" in text(model)


@pytest.mark.parametrize(("tons", "printed"), [(4.25, "4.25 ton"), (12.5, "12.5 ton"),
                                               (24.3, "24.5 ton"), (4.01, "4.05 ton")])
def test_an_order_is_never_rounded_down(tons, printed):
    """ensures that a quarter of a ton is not lost."""
    assert Writer("en", "us", "USD").order(tons, "ton").replace("\u00a0", " ") == printed


def test_the_driver_knows_when_where_and_writes_it_down(sheet):
    """ensures that date, validity and the missing map are said, and each job has its
    line for what was spread.
    """
    case, plan, writer, model = sheet
    said = text(model)
    for day in (case.case.date, case.case.valid_until):
        assert writer.day(day).replace("\u00a0", " ") in said
    assert ("No map of the areas exists" in said) is (case.boundary is None)
    assert said.count("Spread: date ____") == len(spread_actions(plan)) > 0


def test_one_zone_is_not_called_the_whole_field():
    """ensures that work on one zone of several names it, and keeps off the rest."""
    loaded = load_case(SAMPLES / "three_fields_indiana" / "north_terrace.yaml")
    plan = pipeline.advise(loaded).plan
    part = loaded.case.model_copy(update={"field": loaded.case.field.model_copy(update={
        "area": loaded.case.field.area.__class__(1000.0, "ac", "1000 ac")})})
    writer = Writer("en", "us", "USD")
    assert "One rate for the whole field" in text(applicator_sheet(loaded.case, plan, writer))
    zones = {a.place.id for a in spread_actions(plan)}
    assert len(zones) == 1
    said = text(applicator_sheet(part, plan, writer))
    assert "only; nothing goes on the rest" in said and "whole field" not in said
