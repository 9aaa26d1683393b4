"""Windows and re-tests as an iCalendar file (RFC 5545): the same bytes for the same case.

All-day events. The end of an all-day event is the day after its last day (section 3.6.1).
Lines are folded at 75 octets (3.1), text is escaped (3.3.11), and UID and DTSTAMP come from
the case, never from the clock.
"""

import datetime as dt
import uuid
from dataclasses import dataclass

from loambrief import __version__
from loambrief.actions.model import Action, Followup, Plan
from loambrief.case.schema import CaseFile
from loambrief.findings.model import say
from loambrief.report.money import money_of
from loambrief.report.text import Writer

FOLD_OCTETS = 75
DAY = dt.timedelta(days=1)
NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, "urn:loambrief:calendar")


@dataclass(frozen=True)
class Event:
    """One all-day entry; ``last`` is its last day."""

    uid: str
    first: dt.date
    last: dt.date
    summary: str
    description: str


def calendar_bytes(case: CaseFile, plan: Plan, writer: Writer) -> bytes:
    """The calendar of a plan: UTF-8 with CRLF line ends.

    Actions that the money covers and that have a start or an end are entered; those with words
    only ("when the soil is dry") are not, since a date would be invented.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0",
             f"PRODID:-//Loambrief//Loambrief {__version__}//EN", "CALSCALE:GREGORIAN",
             "METHOD:PUBLISH"]
    stamp = f"{case.case.date:%Y%m%d}T000000Z"
    for event in events(case, plan, writer):
        lines += [
            "BEGIN:VEVENT",
            f"UID:{event.uid}",
            f"DTSTAMP:{stamp}",
            f"DTSTART;VALUE=DATE:{event.first:%Y%m%d}",
            f"DTEND;VALUE=DATE:{event.last + DAY:%Y%m%d}",
            f"SUMMARY:{escape(event.summary)}",
            f"DESCRIPTION:{escape(event.description)}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{fold(line)}\r\n" for line in lines).encode("utf-8")


def events(case: CaseFile, plan: Plan, writer: Writer) -> tuple[Event, ...]:
    """Entries in order of date."""
    found = [_work(case, plan, a, writer) for a in plan.actions
             if a.id in plan.budget.chosen and a.window
             and (a.window.start or a.window.end)]
    found += [_retest(case, f, writer) for f in plan.followups if f.due is not None]
    return tuple(sorted(found, key=lambda e: (e.first, e.uid)))


def _work(case: CaseFile, plan: Plan, action: Action, writer: Writer) -> Event:
    window = action.window
    assert window is not None  # ``events`` leaves the rest out
    first = window.start or window.end
    assert first is not None
    last = window.end or first
    write = writer.write
    said = [write(window.text)]
    names = {a.id: a.rank for a in plan.actions}
    ranks = [str(names[d]) for d in action.depends_on if d in names]
    if ranks:
        said.append(write(say("actions.ics_after", ranks=ranks)))
    if action.place.label:
        said.append(write(say("actions.ics_place", place=action.place)))
    if action.total is not None:
        said.append(write(say("actions.ics_total", total=writer.order(
            action.total, action.total_unit))))
    if action.cost_total is not None:
        said.append(write(say("actions.ics_cost", cost=money_of(plan).costs[action.id])))
    said += [write(c) for c in action.cautions]
    return Event(_uid(case, action.id), first, last,
                 write(say("actions.ics_action", field=case.field.name,
                           title=write(action.title))), "\n".join(said))


def _retest(case: CaseFile, followup: Followup, writer: Writer) -> Event:
    write = writer.write
    assert followup.due is not None  # ``events`` leaves the rest out
    return Event(
        _uid(case, f"retest.{followup.what.key}"), followup.due, followup.due,
        write(say("actions.ics_retest", field=case.field.name, what=write(followup.what))),
        write(say("actions.ics_success", success=write(followup.success))),
    )


def _uid(case: CaseFile, name: str) -> str:
    """Globally unique, and the same whenever the case is run again (section 3.8.4.7)."""
    return f"{uuid.uuid5(NAMESPACE, f'{case.case.id}/{case.case.date}/{name}')}@loambrief"


def escape(text: str) -> str:
    """TEXT value: backslash, semicolon, comma and line break (section 3.3.11)."""
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\n"),
                           ("\r", "\n"), ("\n", "\\n")):
        text = text.replace(plain, escaped)
    return "".join(c for c in text if c == "\t" or ord(c) >= 32)


def fold(line: str) -> str:
    """Break a content line so that none is longer than 75 octets, never inside a character."""
    pieces, size = [""], 0
    for character in line:
        octets = len(character.encode("utf-8"))
        if size + octets > FOLD_OCTETS:
            pieces.append("")
            size = 1  # the blank that marks the continuation
        pieces[-1] += character
        size += octets
    return "\r\n ".join(pieces)
