"""Blocks that make a document an advisory: summary page, findings, actions, sign-off.

Words that name a field ("rate", "why") come from ``blocks.Words``; values come finished.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loambrief.report.blocks import Block, Fact, LogoPrint, Text

ADVISER_FIELD, CLIENT_FIELD = "Adviser", "Client"
"""Names of the digital signature fields in the sign-off block."""


@dataclass(frozen=True)
class LimitLine:
    """One thing that holds the field back: the conclusion, and how sure it is in words."""

    text: Text
    detail: Text = ""
    """Key number and confidence, e.g. "pH 5.2, wanted 6.5; measured, high confidence"."""
    link: str = ""
    """``"#anchor"`` of the finding."""


@dataclass(frozen=True)
class FirstAction:
    """One line of the summary's action table. Empty cells print a dash."""

    rank: int
    what: Text
    material: Text = ""
    rate: Text = ""
    area: Text = ""
    total: Text = ""
    cost: Text = ""
    when: Text = ""
    caution: Text = ""
    """The one warning that must be beside the action on page 1."""
    link: str = ""


@dataclass(frozen=True)
class Summary(Block):
    """Page 1. It stands alone: a grower acts on it without turning the page.

    Lines are set closer if that makes it fit; with more than one page can hold, it goes on
    over the page. Type never gets smaller.

    Attributes
    ----------
    title : Text
        Printed as the document's heading; ``anchor`` is its bookmark target.
    kicker : Text
        One line above the title (kind of document, business).
    facts : tuple of Fact
        Grower, field, area, crop, date, adviser: at most eight, each short.
    message : Text
        One to three sentences: what to do and why.
    limits : tuple of LimitLine
        Most severe first; at most five are sensible.
    actions : tuple of FirstAction
        At most five are sensible.
    foot : tuple of Fact
        Money that makes, with the costs of the lines, the last of them, which is the total.
    cost_line : Text
        The budget, and what of the money is optional or has no price.
    unjudged : tuple of Text
        Nutrients and amendments that nothing here judges, and what would settle each.
    avoid : tuple of Text
        What not to buy, with the reason.
    contact : tuple of Text
        Whom to call: one line each.
    valid_until : Text
        Date and what ends validity sooner.
    notes : tuple of Text
        Last lines: what was not measured, where the cautions are.
    spare : tuple of Text
        Lines before them that stand elsewhere too: on paper left out where the page is full.
    """

    title: Text
    message: Text
    kicker: Text = ""
    facts: tuple[Fact, ...] = ()
    limits: tuple[LimitLine, ...] = ()
    actions: tuple[FirstAction, ...] = ()
    foot: tuple[Fact, ...] = ()
    cost_line: Text = ""
    unjudged: tuple[Text, ...] = ()
    avoid: tuple[Text, ...] = ()
    contact: tuple[Text, ...] = ()
    valid_until: Text = ""
    notes: tuple[Text, ...] = ()
    spare: tuple[Text, ...] = ()
    no_limits: Text = ""
    """Printed where ``limits`` is empty."""
    no_actions: Text = ""
    anchor: str = "summary"
    logo: LogoPrint | None = None
    """At the right of the title."""


@dataclass(frozen=True)
class ActionCard(Block):
    """One ranked action: source, rate, time and place, why, money, cautions beside it.

    Attributes
    ----------
    rank : int
    title : Text
        Verb first: "Spread 1.5 ton/ac of limestone".
    anchor : str
    source, rate, time, place : Text
        The four things every nutrient action must state.
    range, total, money, cost : Text
        Honest range of the rate; amount to order; what it costs in all; cost per area, of
        what it is made up, and price date.
    why : tuple of Text
        Reasons, with links to the findings.
    how : tuple of Text
        Steps: incorporation, splitting, equipment.
    depends : Text
        What comes first.
    notes : tuple of Text
        What bound the rate, what rounding did.
    cautions : Text
        Numbers of the cautions that hold, which stand once, after the actions.
    tag : Text
        A few words at the right of the title ("inside the budget", "second pass").
    """

    rank: int
    title: Text
    anchor: str = ""
    source: Text = ""
    rate: Text = ""
    time: Text = ""
    place: Text = ""
    range: Text = ""
    total: Text = ""
    money: Text = ""
    cost: Text = ""
    why: tuple[Text, ...] = ()
    how: tuple[Text, ...] = ()
    depends: Text = ""
    notes: tuple[Text, ...] = ()
    cautions: Text = ""
    tag: Text = ""


class StatusSign(StrEnum):
    """Sign beside a finding's status word; the shapes differ, so no colour is needed."""

    LIMITING = "limiting"
    WATCH = "watch"
    ADEQUATE = "adequate"
    EXCESS = "excess"
    UNCERTAIN = "uncertain"
    NOTED = "noted"


@dataclass(frozen=True)
class EvidenceLine:
    """One piece of evidence: the statement, its grade in words, links to its sources."""

    text: Text
    grade: Text = ""
    sources: Text = ""
    """Links such as ``(Span("[3]", link="#src-key"),)``."""


@dataclass(frozen=True)
class FindingBlock(Block):
    """One conclusion with its evidence for and against.

    Attributes
    ----------
    title : Text
        The conclusion as a sentence; a heading one level below the last ``Heading``.
    mark, status : StatusSign, Text
        The sign and the word.
    confidence, grade : Text
        In words; both are always printed.
    reading, reference : Text
        Key number with unit, and what it is held against with its source.
    body : tuple of Text
        Paragraphs.
    support, against, context : tuple of EvidenceLine
    blocks : tuple of Block
        How the numbers were worked out; beside the evidence on paper, after it elsewhere.
    zones : tuple of FindingBlock
        The same question answered for other places: title and status line, under the first;
        what speaks for and against stands once, with the first.
    """

    title: Text
    mark: StatusSign
    status: Text
    confidence: Text = ""
    grade: Text = ""
    anchor: str = ""
    reading: Text = ""
    reference: Text = ""
    body: tuple[Text, ...] = ()
    support: tuple[EvidenceLine, ...] = ()
    against: tuple[EvidenceLine, ...] = ()
    context: tuple[EvidenceLine, ...] = ()
    blocks: tuple[Block, ...] = ()
    zones: tuple[FindingBlock, ...] = ()


@dataclass(frozen=True)
class Calculation:
    """One number and how it was worked out.

    ``group`` is the formula: name, registered name and source, printed once above the
    calculations that follow it. ``name`` is what this one is about, ``inputs`` label and
    value with unit, ``answer`` the value with unit (unrounded), ``outside`` what is said
    if an input is outside the published range. ``number`` is how it is referred to (its
    place in the list if empty).
    """

    name: Text
    answer: Text
    inputs: tuple[Fact, ...] = ()
    outside: Text = ""
    note: Text = ""
    anchor: str = ""
    number: str = ""
    group: Text = ""


@dataclass(frozen=True)
class CalculationList(Block):
    """How each number was worked out, numbered in order."""

    items: tuple[Calculation, ...]


@dataclass(frozen=True)
class SourceEntry:
    """One entry of the source list; ``anchor`` is what evidence links to."""

    label: str
    citation: Text
    anchor: str = ""
    url: str = ""
    note: Text = ""
    """How the value was checked, in words."""


@dataclass(frozen=True)
class SourceList(Block):
    """Sources that were used, and only those."""

    items: tuple[SourceEntry, ...]


@dataclass(frozen=True)
class PhotoPrint:
    """One photo: a JPEG without metadata, its pixels, its caption and text alternative."""

    jpeg: bytes
    width: int
    height: int
    caption: Text
    alt: str


@dataclass(frozen=True)
class Photos(Block):
    """Photos with captions, two to a row."""

    photos: tuple[PhotoPrint, ...]


@dataclass(frozen=True)
class SignOff(Block):
    """Adviser's sign-off and, apart from it, the grower's acknowledgement.

    The two mean different things: the adviser answers for the content; the grower has
    received and understood it.

    Attributes
    ----------
    adviser : tuple of Fact
        Name, credential, number, expiry, business.
    statement : Text
        What the adviser's signature says, information completeness included.
    interest : Text
        Disclosure of interest; "none" must be said.
    acknowledgement : Text
        What the grower's signature says.
    signed : Text
        How the file was signed, once it is; empty leaves a line to sign on.
    grower_name, adviser_name : str
        Printed under the lines.
    field, client_field : str
        Names of the empty digital signature fields over the adviser's and the grower's line,
        already tagged, so that signing them leaves the file accessible; empty for none.
    """

    adviser: tuple[Fact, ...]
    statement: Text
    interest: Text
    acknowledgement: Text
    signed: Text = ""
    adviser_name: str = ""
    grower_name: str = ""
    anchor: str = ""
    field: str = ""
    client_field: str = ""

    def __post_init__(self) -> None:
        if not self.interest:
            raise ValueError("an interest disclosure is compulsory; say so if there is none")
