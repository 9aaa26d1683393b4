"""Re-tests: when, what to look at, and what counts as success."""

import datetime as dt

from loambrief.actions.model import Action, Followup
from loambrief.case.schema import CaseFile
from loambrief.findings.model import NeedKind, say
from loambrief.topics.judge import DECIDES

WAIT_DAYS = {
    NeedKind.LIME: 365,
    NeedKind.ACIDIFY: 180,
    NeedKind.GYPSUM: 365,
    NeedKind.LEACH: 240,
    NeedKind.NUTRIENT: 730,
    NeedKind.LOOSEN: 365,
    NeedKind.DRAIN: 365,
    NeedKind.ORGANIC_MATTER: 1095,
    NeedKind.MANAGE: 365,
}
"""Usual waiting times before a new test can show a change (common practice, no source)."""
SPRING = (4, 15)
"""Month and day that stand for spring at field capacity (our convention; north of the equator)."""


def followups(case: CaseFile, actions: tuple[Action, ...]) -> tuple[Followup, ...]:
    """One re-test for each kind of work, from the first action of that kind."""
    today = case.case.date
    found: dict[NeedKind, Followup] = {}
    for action in actions:
        if action.item == DECIDES:  # a choice leaves nothing in the field to look at
            continue
        if action.kind in WAIT_DAYS and action.kind not in found:
            name = action.kind.value.replace(" ", "_")
            start = action.window.start if action.window and action.window.start else today
            start = max(start, today)
            due = start + dt.timedelta(days=WAIT_DAYS[action.kind])
            if action.kind is NeedKind.LOOSEN:  # the next spring
                due = next(d for year in (start.year, start.year + 1)
                           if (d := dt.date(year, *SPRING)) > start)
            found[action.kind] = Followup(
                due=due,
                what=say(f"actions.follow_{name}"),
                success=say(f"actions.success_{name}"),
                action_id=action.id,
            )
    return tuple(sorted(found.values(), key=lambda f: (f.due, f.what.key)))
