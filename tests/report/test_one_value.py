"""One thing is said once: what several parts of a document name is read from one place."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sample_reports import CASES, advice, report

from loambrief.report.blocks import Table, opened, plain
from loambrief.report.chart_text import chart_words
from loambrief.report.context import Context
from loambrief.report.parts import ActionCard, FindingBlock, Summary
from loambrief.report.pictures_plan import season
from loambrief.report.plan_part import headed
from loambrief.report.text import Writer
from loambrief.topics.soil_water.chart import chart as water_chart


@pytest.mark.parametrize("name", CASES)
def test_confidence_of_a_finding_is_one(name):
    """ensures that page 1, the finding and the order of the plan name one confidence."""
    made, writer = advice(name), Writer()
    context = Context(made.loaded, made.diagnosis, made.plan, (), writer, chart_words(writer))
    blocks = opened(report(name).blocks)
    shown = {}
    for block in blocks:
        if isinstance(block, FindingBlock):
            for one in (block, *block.zones):
                shown[one.anchor] = plain(one.confidence)
    (summary,) = (b for b in blocks if isinstance(b, Summary))
    for limit in summary.limits:
        assert shown[limit.link[1:]] in plain(limit.detail)
    (order,) = (b for b in blocks if isinstance(b, Table)
                and plain(b.columns[-1].title) == context.word("column_bound"))
    told = 0
    for action, row in zip(made.plan.actions, order.lines, strict=True):
        found = [context.finding(i) for i in action.finding_ids]
        if found and "confidence" in plain(row.cells[2]):
            gravest = max(found, key=lambda f: f.severity)
            assert context.word(f"confidence_{gravest.confidence.value}") in plain(row.cells[2])
            told += 1
    assert told


def test_a_calendar_of_like_bars_is_left_out():
    """ensures that a calendar is drawn only if it tells two windows apart."""
    made, writer = advice("acid_corn_ohio"), Writer()
    windows = [a for a in made.plan.actions if a.window is not None and a.window.start]

    def drawn(actions):
        plan = replace(made.plan, actions=tuple(actions))
        return season(Context(made.loaded, made.diagnosis, plan, (), writer,
                              chart_words(writer))) is not None

    alike = [replace(a, window=windows[0].window) for a in windows]
    assert drawn(windows) and not drawn(alike)


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah"])
def test_units_of_print_change_no_amount(name):
    """ensures that one case printed in US and in metric units asks for the same rates, orders and
    money, and that the other edition says in which units they were set."""
    us, si = advice(name), advice(name, units="si")
    for one, other in zip(us.plan.actions, si.plan.actions, strict=True):
        assert (one.id, one.rate, one.total, one.cost_total) == (
            other.id, other.rate, other.total, other.cost_total)
    writer = Writer.of(si.loaded.case.case)
    action = next(a for a in si.plan.actions if a.rate is not None)
    assert "set as" in writer.rate(action.rate, action.rate_unit)
    assert "set as" not in Writer.of(us.loaded.case.case).rate(action.rate, action.rate_unit)


@pytest.mark.parametrize("unit, amount, us, si", [
    ("ton", 41.3, "41.5 ton", "37.6 t"), ("lb", 1705.2, "1,706 lb", "774 kg"),
])
def test_an_order_is_rounded_once(unit, amount, us, si):
    """ensures that an order is rounded up in the case's own units and only then converted:
    41.5 short tons are 37.65 t, 1,706 lb are 773.8 kg (factors of NIST SP 811, from memory)."""
    head = advice("acid_corn_ohio").loaded.case.case
    for printed, wanted in ((head, us), (head.printed_as({"units": "si"}), si)):
        assert Writer.of(printed).order(amount, unit).replace("\u00a0", " ") == wanted


@pytest.mark.parametrize("title, heading, rest", [
    ("Leach with 5.9 in of water. " + "Count the salt of the water itself too. " * 3,
     "Leach with 5.9 in of water", 1),
    ("Lime: 1.75 ton/ac of lime, J. Deller quarry", "Lime: 1.75 ton/ac of lime, J. Deller quarry",
     0),
    ("Ask J. Deller for the test of the stone, its fineness, its neutralizing value and its water "
     "before the first load is ordered", None, 0),
])
def test_headings_are_one_sentence(title, heading, rest):
    """ensures that of a long title only the first sentence is a heading, the rest stands below
    it, and a name with an initial is not torn apart."""
    made, more = headed(title)
    assert made == (heading or title) and len(more) == rest


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_heading_is_a_paragraph(language):
    """ensures that no action of the longest plan is headed by more than 45 words."""
    cards = [b for b in report("saline_alfalfa_utah", language=language).blocks
             if isinstance(b, ActionCard)]
    assert cards and max(len(plain(card.title).split()) for card in cards) <= 45


@pytest.mark.parametrize("units, unit, size", [("us", "in", 1.0), ("si", "cm", 2.54)])
def test_the_chart_of_water_adds_up_to_the_finding(units, unit, size):
    """ensures that the slabs of the chart hold the water that the finding tells, to its depth."""
    made, writer = advice("vegetables_new_jersey"), Writer(system=units)
    spec = water_chart(Context(made.loaded, made.diagnosis, made.plan, (), writer,
                               chart_words(writer)))
    finding, = (f for f in made.diagnosis.findings if f.subject == "soil_water.held")
    held, allowed = spec.measures
    depth = finding.title.params["depth"] * size
    assert (spec.depth_unit, held.unit) == (unit, unit)
    assert sum(s.value for s in held.slabs) == pytest.approx(
        finding.title.params["water"] * size, rel=1e-6)
    assert sum(s.value for s in allowed.slabs) == pytest.approx(
        finding.title.params["allowed"] * size, rel=1e-6)
    assert (held.slabs[0].top, held.slabs[-1].bottom) == (0, round(depth))
