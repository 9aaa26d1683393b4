"""One thing is said once: what several parts of a document name is read from one place."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sample_reports import CASES, advice, report

from loambrief.report.blocks import Table, opened, plain
from loambrief.report.chart_text import chart_words
from loambrief.report.context import Context
from loambrief.report.parts import FindingBlock, Summary
from loambrief.report.pictures_plan import season
from loambrief.report.text import Writer


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
