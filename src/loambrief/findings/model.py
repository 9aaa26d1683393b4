"""What a topic says about a case: findings, needs, and what is missing.

No wording lives here. A :class:`Message` names a text template (``topic.name``) and the
values it needs; ``templates/text/<language>/<topic>.j2`` holds the words.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from typing import TypeAlias

from loambrief.agronomy.registry import Result
from loambrief.tables import DataRow, load, reference


class Grade(StrEnum):
    """Evidence grade, best first. ``PRACTICE`` stands apart: a rule of the trade, no source."""

    MEASURED = "measured"
    CALCULATED = "calculated"
    PUBLISHED = "published"
    """Other people's work, not this field: its kinds stand with the references."""
    OBSERVED = "observed"
    SCREENING = "screening sign"
    PRACTICE = "common practice"


STUDIES = ("review", "trial", "survey", "guide", "trade press", "undated page")
"""Kinds of publication that are told apart where evidence is printed."""


class Status(StrEnum):
    LIMITING = "limiting"
    WATCH = "watch"
    ADEQUATE = "adequate"
    EXCESS = "excess"
    UNCERTAIN = "uncertain"
    NOTED = "noted"


class Confidence(StrEnum):
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True)
class Place:
    """What a conclusion is about. Two are the same if their ids and depths are."""

    id: str = ""
    """Of a sample or marked spot; "" for the whole field."""
    label: str = field(default="", compare=False)
    """As typed; it decides nothing and is only printed."""
    depth: tuple[float, float] | None = None
    """Top and bottom of a slice [in]; None where it is of no one depth."""


WHOLE_FIELD = Place()


@dataclass(frozen=True)
class Product:
    """A material of the case inside a message: known by its id, printed by its name."""

    id: str
    name: str = field(default="", compare=False)


@dataclass(frozen=True)
class Message:
    """A text to be written later: macro ``name`` of ``<topic>.j2`` with ``params``.

    Quantities in params are plain numbers in house units; the template asks for unit and
    rounding through filters, a place as :class:`Place`. Text typed in the case may be
    passed as it is: the renderer escapes it.
    """

    key: str
    params: Mapping[str, object] = field(default_factory=dict)

    @property
    def topic(self) -> str:
        return self.key.split(".", 1)[0]

    @property
    def name(self) -> str:
        return self.key.split(".", 1)[1]


MORE = "\ue001"
"""Stands in a written message where its short form ends; printed nowhere."""


def say(key: str, **params: object) -> Message:
    """Short form: ``say("acidity.title_low", ph=5.4, where=place)``."""
    return Message(key, params)


def bare(message: Message) -> Message:
    """A message without the labels in it, to judge the length of its words alone."""
    return Message(message.key, {name: _blank(v) for name, v in message.params.items()})


def _blank(value: object) -> object:
    if isinstance(value, Place):
        return Place(value.id, "", value.depth)
    if isinstance(value, Product):
        return Product(value.id)
    if isinstance(value, Mapping):
        return {key: _blank(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_blank(inner) for inner in value]
    return value


class Side(StrEnum):
    FOR = "for"
    AGAINST = "against"
    CONTEXT = "context"


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence for, against, or around a finding."""

    side: Side
    text: Message
    grade: Grade
    sources: tuple[str, ...] = ()
    results: tuple[Result, ...] = ()

    @property
    def kinds(self) -> tuple[str, ...]:
        """What published evidence comes from (:data:`STUDIES`), each kind once."""
        if self.grade is not Grade.PUBLISHED:
            return ()
        told = (reference(key).kind for key in self.sources)
        return tuple(dict.fromkeys(kind for kind in told if kind in STUDIES))


def sources_of(results: Iterable[Result]) -> tuple[str, ...]:
    """The publications that calculations rest on, each once."""
    return tuple(dict.fromkeys(r.source for r in results if r.source))


def stated(key: str, /, *results: Result, **params: object) -> Evidence:
    """Evidence whose side, grade and sources are those of ``wording/evidence``.

    ``key`` and ``params`` make its message, as in :func:`say`; it rests on ``results``.
    """
    return on_side(Side(_kinds()[key]["side"]), key, *results, **params)


def on_side(side: Side, key: str, /, *results: Result, **params: object) -> Evidence:
    """The same for evidence whose side turns on the case."""
    row = _kinds()[key]
    sources = tuple(str(row["source"]).split(";")) if row["source"] else ()
    return Evidence(side, Message(key, params), Grade(row["grade"]),
                    sources_of(results) if row["of_results"] else sources, results)


@cache
def _kinds() -> Mapping[str, DataRow]:
    return {str(row["message"]): row for row in load("wording/evidence")}


class Verdict(StrEnum):
    """What is said of a nutrient, an amendment, a material or a question."""

    NEEDED = "needed"
    NOT_NEEDED = "not needed"
    OPTIONAL = "optional"
    NOT_JUDGED = "not judged"


TOO_MUCH = "level_reached"
"""Why a trace element stands open at a level of harm; gives way to every other verdict."""


class JudgedKind(StrEnum):
    NUTRIENT = "nutrient"
    AMENDMENT = "amendment"
    MATERIAL = "material"
    PRACTICE = "practice"


@dataclass(frozen=True)
class Judgement:
    """The verdict on one nutrient or amendment at one place."""

    kind: JudgedKind
    key: str
    """``N``, ``P2O5``, ``K2O``, ``S``, ``Mg``, ``Ca``, ``Zn``, ``B``, ``Mn``, ``Cu``, ``Fe``;
    ``lime``, ``gypsum``, ``sulfur``; or the id of a material."""
    place: Place
    verdict: Verdict
    reason: str
    """Stable key of why, such as ``below_critical`` or ``no_rule_for_crop``; its sentence is the
    macro ``verdict_<reason>``."""
    params: Mapping[str, object] = field(default_factory=dict)
    """Values of that sentence."""
    settled_by: str = ""
    """Key of what would settle what was not judged (macro ``settle_<key>``); empty else."""
    finding_ids: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    amount: float | None = None
    unit: str = ""
    set_aside: tuple[str, ...] = ()
    """Reasons for which the adviser set aside what it asks for; the verdict itself stays."""

    @property
    def id(self) -> str:
        return ".".join(p for p in (self.kind.value, self.key, self.place.id) if p)

    def answers_to(self, name: str) -> bool:
        """Whether a name means this verdict: its id, or the id without the place."""
        return name in (self.id, f"{self.kind.value}.{self.key}")

    @property
    def why(self) -> Message:
        return Message(f"verdicts.why_{self.reason}", {"key": self.key, **self.params})

    @property
    def settle(self) -> Message | None:
        if not self.settled_by:
            return None
        return Message(f"verdicts.settle_{self.settled_by}", {"key": self.key, **self.params})


class NeedKind(StrEnum):
    """What an action has to supply. Amounts come from measurements, never from weeds or Brix."""

    LIME = "lime"
    ACIDIFY = "acidify"
    GYPSUM = "gypsum"
    NUTRIENT = "nutrient"
    ORGANIC_MATTER = "organic matter"
    LOOSEN = "loosen"
    DRAIN = "drain"
    LEACH = "leach"
    MEASURE = "measure"
    MANAGE = "manage"


@dataclass(frozen=True)
class Need:
    """A need with its amount, as an honest range where one can be given.

    Attributes
    ----------
    item : str
        Nutrient (``"P2O5"``, ``"K2O"``, ``"S"``, ``"Zn"``...) or short id of the measure.
    amount, low, high : float or None
        In ``unit`` per area: lime in ton/ac of 100 % effective CaCO3, gypsum in ton/ac of
        pure gypsum, nutrients in lb/ac, water in inches. None: no published amount.
    text : Message
        Why, in one line.
    area_ac : float or None
        Area it applies to.
    cap : float or None
        Most that may go on in one pass, same unit, from the cited source.
    depends_on : tuple of str
        Need keys that come first.
    """

    kind: NeedKind
    item: str
    unit: str
    text: Message
    place: Place = WHOLE_FIELD
    area_ac: float | None = None
    amount: float | None = None
    low: float | None = None
    high: float | None = None
    cap: float | None = None
    results: tuple[Result, ...] = ()
    sources: tuple[str, ...] = ()
    cautions: tuple[Message, ...] = ()
    params: Mapping[str, object] = field(default_factory=dict)
    printed_span: bool = False
    """``low`` and ``high`` are what sources print, to choose between, not the range of an error."""
    may_be_none: bool | None = None
    """Nothing is needed one standard error of the test away; None: not worked out, ``low`` tells.

    A plan turns on this, not on the far end of the range, which holds nothing too often."""
    optional: bool = False
    """It keeps a level up or is sound to leave out; skipping it has a price, but is no fault."""


@dataclass(frozen=True)
class Finding:
    """One conclusion with its evidence.

    Attributes
    ----------
    id : str
        Stable: ``topic.subject.sample`` (``"acidity.ph.N1"``).
    severity : int
        0 nothing to do, 1 minor, 2 limits the crop, 3 limits it badly or harms soil/stock.
    value, unit, reference
        The key number, its unit and what it is held against.
    low, high
        Ends of the range of the key number, at the coverage of all ranges; None where the
        errors of it are not known.
    printed_span : bool
        ``low`` and ``high`` follow from spans or errors that sources print without a coverage.
    """

    id: str
    title: Message
    status: Status
    severity: int
    confidence: Confidence
    grade: Grade
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    printed_span: bool = False
    reference: Message | None = None
    place: Place = WHOLE_FIELD
    body: tuple[Message, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    needs: tuple[Need, ...] = ()
    advise_against: tuple[tuple[Message, Message], ...] = ()
    """(what, why) pairs for the "do not buy" list."""
    sources: tuple[str, ...] = ()
    results: tuple[Result, ...] = ()
    judgements: tuple[Judgement, ...] = ()
    """Verdicts that rest on this finding."""

    @property
    def topic(self) -> str:
        return self.id.partition(".")[0]

    @property
    def subject(self) -> str:
        """What it is about, wherever: the first two parts of its id (``"acidity.ph"``)."""
        return ".".join(self.id.split(".", 2)[:2])


LINES = {"nutrients.reference_levels": "critical", "nutrients.reference_micro": "critical",
         "acidity.reference_target": "target", "salinity.reference_threshold": "threshold"}
"""Messages of reference that hold a reading against one line, and the name of that line."""


def beyond(finding: Finding) -> float:
    """How far a reading lies from its line, as a share of the line; 0 without one line."""
    if finding.reference is None or finding.value is None:
        return 0.0
    line = finding.reference.params.get(LINES.get(finding.reference.key, ""))
    if not isinstance(line, int | float) or line <= 0:
        return 0.0
    return abs(finding.value - line) / line


@dataclass(frozen=True)
class Missing:
    """Something that was not measured, and which conclusions drop out."""

    what: Message
    consequence: Message
    topic: str = ""
    place: Place = WHOLE_FIELD
    judgements: tuple[Judgement, ...] = ()


def lacks(key: str, /, *, topic: str = "", judgements: tuple[Judgement, ...] = (),
          **params: object) -> Missing:
    """What was not measured (macro ``key``) and what drops out for it (``<key>_means``).

    ``topic`` is given where it is told in another topic than that of its words; ``judgements``
    stand open for it.
    """
    return Missing(Message(key, params), Message(f"{key}_means", params),
                   topic or key.partition(".")[0], judgements=judgements)


@dataclass(frozen=True)
class Assessment:
    """What one topic returns."""

    findings: tuple[Finding, ...] = ()
    missing: tuple[Missing, ...] = ()


Said: TypeAlias = Finding | Missing | None


def gathered(said: Iterable[Said]) -> Assessment:
    """What a topic said, in its order; None is passed over."""
    told = tuple(said)
    return Assessment(tuple(x for x in told if isinstance(x, Finding)),
                      tuple(x for x in told if isinstance(x, Missing)))


def nutrient(key: str, place: Place, verdict: Verdict, reason: str, settled_by: str = "",
             **params: object) -> Judgement:
    """A verdict on a nutrient, without the depth of the slice it was read from."""
    return Judgement(JudgedKind.NUTRIENT, key, Place(place.id, place.label), verdict, reason,
                     params, settled_by)


def amendment(key: str, place: Place, verdict: Verdict, reason: str, settled_by: str = "",
              **params: object) -> Judgement:
    """A verdict on lime, gypsum or acidifying sulfur."""
    return Judgement(JudgedKind.AMENDMENT, key, Place(place.id, place.label), verdict, reason,
                     params, settled_by)
