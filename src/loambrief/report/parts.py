"""Blocks that make a document an advisory: summary page, findings, actions, sign-off.

Words that name a field ("rate", "why") come from ``blocks.Words``; values come finished.
"""

from __future__ import annotations

from dataclasses import dataclass

from loambrief.findings.model import Status
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
    """

    title: Text
    """Printed as the document's heading; ``anchor`` is its bookmark target."""
    message: Text
    """One to three sentences: what to do and why."""
    kicker: Text = ""
    """One line above the title (kind of document, business)."""
    facts: tuple[Fact, ...] = ()
    """Grower, field, area, crop, date, adviser: at most eight, each short."""
    limits: tuple[LimitLine, ...] = ()
    """Most severe first; at most five are sensible."""
    actions: tuple[FirstAction, ...] = ()
    """At most five are sensible."""
    foot: tuple[Fact, ...] = ()
    """Money that makes, with the costs of the lines, the last of them, which is the total."""
    cost_line: Text = ""
    """The budget, and what of the money is optional or has no price."""
    unjudged: tuple[Text, ...] = ()
    """Nutrients and amendments that nothing here judges, and what would settle each."""
    avoid: tuple[Text, ...] = ()
    """What not to buy, with the reason."""
    contact: tuple[Text, ...] = ()
    """Whom to call: one line each."""
    valid_until: Text = ""
    """Date and what ends validity sooner."""
    notes: tuple[Text, ...] = ()
    """Last lines: what was not measured, where the cautions are."""
    spare: tuple[Text, ...] = ()
    """Lines before them that stand elsewhere too: on paper left out where the page is full."""
    no_limits: Text = ""
    """Printed where ``limits`` is empty."""
    no_actions: Text = ""
    anchor: str = "summary"
    logo: LogoPrint | None = None
    """At the right of the title."""


@dataclass(frozen=True)
class ActionCard(Block):
    """One ranked action: source, rate, time and place, why, money, cautions beside it."""

    rank: int
    title: Text
    """Verb first: "Spread 1.5 ton/ac of limestone"."""
    anchor: str = ""
    source: Text = ""
    rate: Text = ""
    time: Text = ""
    place: Text = ""
    """``source``, ``rate``, ``time``, ``place``: the four things every nutrient action must
    state."""
    range: Text = ""
    total: Text = ""
    money: Text = ""
    cost: Text = ""
    """``range``, ``total``, ``money``, ``cost``: honest range of the rate; amount to order; what it
    costs in all; cost per area, of what it is made up, and price date."""
    why: tuple[Text, ...] = ()
    """Reasons, with links to the findings."""
    how: tuple[Text, ...] = ()
    """Steps: incorporation, splitting, equipment."""
    depends: Text = ""
    """What comes first."""
    notes: tuple[Text, ...] = ()
    """What bound the rate, what rounding did."""
    cautions: Text = ""
    """Numbers of the cautions that hold, which stand once, after the actions."""
    tag: Text = ""
    """A few words at the right of the title ("inside the budget", "second pass")."""


@dataclass(frozen=True)
class EvidenceLine:
    """One piece of evidence: the statement, its grade in words, links to its sources."""

    text: Text
    grade: Text = ""
    sources: Text = ""
    """Links such as ``(Span("[3]", link="#src-key"),)``."""


@dataclass(frozen=True)
class FindingBlock(Block):
    """One conclusion with its evidence for and against."""

    title: Text
    """The conclusion as a sentence; a heading one level below the last ``Heading``."""
    mark: Status
    status: Text
    """``mark``, ``status``: what the sign beside the word says, and the word."""
    confidence: Text = ""
    grade: Text = ""
    """``confidence``, ``grade``: in words; both are always printed."""
    anchor: str = ""
    reading: Text = ""
    reference: Text = ""
    """``reading``, ``reference``: key number with unit, and what it is held against with its
    source."""
    body: tuple[Text, ...] = ()
    """Paragraphs."""
    support: tuple[EvidenceLine, ...] = ()
    against: tuple[EvidenceLine, ...] = ()
    context: tuple[EvidenceLine, ...] = ()
    blocks: tuple[Block, ...] = ()
    """How the numbers were worked out; beside the evidence on paper, after it elsewhere."""
    zones: tuple[FindingBlock, ...] = ()
    """The same question answered for other places: title and status line, under the first; what
    speaks for and against stands once, with the first."""


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
    """

    adviser: tuple[Fact, ...]
    """Name, credential, number, expiry, business."""
    statement: Text
    """What the adviser's signature says, information completeness included."""
    interest: Text
    """Disclosure of interest; "none" must be said."""
    acknowledgement: Text
    """What the grower's signature says."""
    signed: Text = ""
    """How the file was signed, once it is; empty leaves a line to sign on."""
    adviser_name: str = ""
    grower_name: str = ""
    """``grower_name``, ``adviser_name``: printed under the lines."""
    anchor: str = ""
    field: str = ""
    client_field: str = ""
    """``field``, ``client_field``: names of the empty digital signature fields over the adviser's
    and the grower's line, already tagged, so that signing them leaves the file accessible; empty
    for none."""

    def __post_init__(self) -> None:
        if not self.interest:
            raise ValueError("an interest disclosure is compulsory; say so if there is none")
