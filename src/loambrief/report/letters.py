"""The letter that carries advisories to a client, as plain text and as HTML.

Both are written from one list of paragraphs, so they cannot say different things.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
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
class LetterHeading:
    text: str


@dataclass(frozen=True)
class LetterBullets:
    items: tuple[str, ...]


@dataclass(frozen=True)
class LetterLines:
    """Lines that stay apart, such as a signature."""

    items: tuple[str, ...]


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
    subject = writer.write(say(
        "mail.subject", draft=draft, count=len(enclosed), field=fields[0],
        date=max(o.facts.date for o in enclosed)))
    parts: list[object] = [
        writer.write(say("mail.greeting", name=first.contact or first.client)),
        writer.write(say("mail.opening", count=len(enclosed), field=fields[0], fields=fields)),
    ]
    if draft:
        parts.append(writer.write(say("mail.draft")))
    for one in enclosed:
        parts += _advisory(one, writer)
    parts.append(writer.write(say("mail.read_first")))
    parts.append(writer.write(say("mail.interest", text=first.interest)))
    parts.append(writer.write(say("mail.reply", phone=first.adviser_phone)))
    parts.append(_signature(first, writer))
    return LetterText(subject, _plain(parts), _html(parts, subject, writer.language))


def _advisory(one: Enclosed, writer: Writer) -> list[object]:
    facts, data = one.facts, one.data
    budget = data["budget"]
    covered = set(budget["chosen"])
    costs = budget["printed"]["actions"]
    chosen = [a for a in data["actions"] if a["id"] in covered][:MOST_ACTIONS]
    parts: list[object] = [LetterHeading(writer.write(
        say("mail.field_heading", field=facts.field, farm=facts.farm)))]
    if chosen:
        parts.append(writer.write(say("mail.first")))
        parts.append(LetterBullets(tuple(
            writer.write(say("mail.action", title=a["title"], cost=costs.get(a["id"]),
                             when=a["when"]["text"]))
            for a in chosen)))
    else:
        parts.append(writer.write(say("mail.no_actions")))
    closing = []
    if chosen and not budget["spent"]:
        closing.append(writer.write(say("mail.no_cost")))
    elif chosen:
        closing.append(writer.write(say("mail.cost", spent=budget["printed"]["total"],
                                        limit=budget["limit"],
                                        waiting=len(budget["left_out"]))))
        if budget["without_price"]:
            closing.append(writer.write(say("mail.partly_priced")))
    if data["valid_until"]:
        until = dt.date.fromisoformat(data["valid_until"])
        closing.append(writer.write(say("mail.valid", date=until)))
    closing.append(writer.write(say("mail.file", name=one.file)))
    parts.append(LetterLines(tuple(closing)))
    return parts


def _signature(facts: Facts, writer: Writer) -> LetterLines:
    lines = (writer.write(say("mail.closing")), facts.adviser, facts.business, facts.credential,
             facts.adviser_address, facts.adviser_phone, facts.adviser_email)
    return LetterLines(tuple(line for line in lines if line))


def _plain(parts: Sequence[object]) -> str:
    paragraphs = []
    for part in parts:
        match part:
            case LetterHeading(text):
                paragraphs.append(f"{text}\n{'-' * len(text)}")
            case LetterBullets(items):
                paragraphs.append("\n".join(f"- {item}" for item in items))
            case LetterLines(items):
                paragraphs.append("\n".join(items))
            case str():
                paragraphs.append(part)
    return "\n\n".join(paragraphs) + "\n"


def _html(parts: Sequence[object], title: str, language: str) -> str:
    body = []
    for part in parts:
        match part:
            case LetterHeading(text):
                body.append(f"<h2>{escape(text)}</h2>")
            case LetterBullets(items):
                body.append("<ul>" + "".join(f"<li>{escape(i)}</li>" for i in items) + "</ul>")
            case LetterLines(items):
                body.append("<p>" + "<br>".join(escape(i) for i in items) + "</p>")
            case str():
                body.append(f"<p>{escape(part)}</p>")
    return (f'<!DOCTYPE html>\n<html lang="{escape(language)}">\n<head><meta charset="utf-8">'
            f"<title>{escape(title)}</title></head>\n<body>\n" + "\n".join(body)
            + "\n</body>\n</html>\n")
