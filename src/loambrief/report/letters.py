"""The letter that carries advisories to a client, as plain text and as HTML.

Both are written from one list of paragraphs, so they cannot say different things.
"""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from loambrief.case.schema import CaseFile
from loambrief.findings.model import say
from loambrief.report.text import Writer

MOST_ACTIONS = 3


@dataclass(frozen=True)
class Facts:
    """Who writes to whom about which field; "" where the case says nothing."""

    client: str
    contact: str
    client_email: str
    farm: str
    field: str
    date: dt.date
    language: str
    units: str
    currency: str
    adviser: str
    business: str
    credential: str
    adviser_address: str
    adviser_phone: str
    adviser_email: str
    interest: str


def facts_of(case: CaseFile) -> Facts:
    """The facts of a case that its letter needs."""
    client, adviser = case.client, case.adviser
    return Facts(
        client.name, client.contact or "", client.email or "", case.farm.name, case.field.name,
        case.case.date, case.case.language, case.case.units, case.case.currency, adviser.name,
        adviser.business or "", f"{adviser.credential.scheme} {adviser.credential.number}",
        adviser.address or "", adviser.phone or "", adviser.email or "", adviser.interest)


@dataclass(frozen=True)
class Enclosed:
    """One advisory in a letter."""

    facts: Facts
    data: Mapping
    """The advisory's data, as in ``<case id>.json``."""
    file: str
    """Name of the attached PDF."""


@dataclass(frozen=True)
class LetterPart:
    """A paragraph of lines that stay apart, a heading (``h2``) or a list (``ul``)."""

    lines: tuple[str, ...]
    tag: str = "p"


@dataclass(frozen=True)
class LetterText:
    """Subject and both bodies of a letter."""

    subject: str
    plain: str
    html: str


def letter_text(enclosed: Sequence[Enclosed]) -> LetterText:
    """Write the letter for advisories of one client, adviser, language and currency."""
    first = enclosed[0].facts
    writer = Writer(first.language, first.units, first.currency)
    draft = any(one.data.get("status") != "issued" for one in enclosed)
    fields = [one.facts.field for one in enclosed]
    subject = _say(writer, "subject", draft=draft, count=len(enclosed), field=fields[0],
                   date=max(o.facts.date for o in enclosed))
    opening = [_say(writer, "greeting", name=first.contact or first.client),
               _say(writer, "opening", count=len(enclosed), field=fields[0], fields=fields),
               *([_say(writer, "draft")] if draft else [])]
    closing = [_say(writer, "read_first"), _say(writer, "interest", text=first.interest),
               _say(writer, "reply", phone=first.adviser_phone)]
    signature = (_say(writer, "closing"), first.adviser, first.business, first.credential,
                 first.adviser_address, first.adviser_phone, first.adviser_email)
    parts = [*(LetterPart((text,)) for text in opening),
             *(part for one in enclosed for part in _advisory(one, writer)),
             *(LetterPart((text,)) for text in closing),
             LetterPart(tuple(line for line in signature if line))]
    return LetterText(subject, _plain(parts), _html(parts, subject, writer.language))


def _say(writer: Writer, name: str, /, **params: object) -> str:
    return writer.write(say(f"mail.{name}", **params))


def _advisory(one: Enclosed, writer: Writer) -> Iterator[LetterPart]:
    facts, data = one.facts, one.data
    budget = data["budget"]
    covered = set(budget["chosen"])
    costs = budget["printed"]["actions"]
    chosen = [a for a in data["actions"] if a["id"] in covered][:MOST_ACTIONS]
    yield LetterPart((_say(writer, "field_heading", field=facts.field, farm=facts.farm),), "h2")
    closing = []
    if chosen:
        yield LetterPart((_say(writer, "first"),))
        yield LetterPart(tuple(
            _say(writer, "action", title=a["title"], cost=costs.get(a["id"]),
                 when=a["when"]["text"]) for a in chosen), "ul")
        closing.append(_say(writer, "cost", spent=budget["printed"]["total"],
                            limit=budget["limit"], waiting=len(budget["left_out"]))
                       if budget["spent"] else _say(writer, "no_cost"))
        if budget["spent"] and budget["without_price"]:
            closing.append(_say(writer, "partly_priced"))
    else:
        yield LetterPart((_say(writer, "no_actions"),))
    if data["valid_until"]:
        closing.append(_say(writer, "valid", date=dt.date.fromisoformat(data["valid_until"])))
    yield LetterPart((*closing, _say(writer, "file", name=one.file)))


def _plain(parts: Sequence[LetterPart]) -> str:
    paragraphs = []
    for part in parts:
        lines = [f"- {line}" for line in part.lines] if part.tag == "ul" else [*part.lines]
        if part.tag == "h2":
            lines.append("-" * len(lines[0]))
        paragraphs.append("\n".join(lines))
    return "\n\n".join(paragraphs) + "\n"


def _html(parts: Sequence[LetterPart], title: str, language: str) -> str:
    body = []
    for part in parts:
        lines = [escape(line) for line in part.lines]
        inner = "".join(f"<li>{line}</li>" for line in lines) if part.tag == "ul" else (
            "<br>".join(lines))
        body.append(f"<{part.tag}>{inner}</{part.tag}>")
    return (f'<!DOCTYPE html>\n<html lang="{escape(language)}">\n<head><meta charset="utf-8">'
            f"<title>{escape(title)}</title></head>\n<body>\n" + "\n".join(body)
            + "\n</body>\n</html>\n")
