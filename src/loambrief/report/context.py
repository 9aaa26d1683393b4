"""What every part of the report needs at hand."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from loambrief import numbers
from loambrief.actions.model import Action, Plan
from loambrief.agronomy.registry import Result
from loambrief.case.load import LoadedCase
from loambrief.case.names import crops, fold
from loambrief.case.schema import CaseFile, PhotoEntry
from loambrief.charts import ChartWords
from loambrief.findings.model import Finding, Grade, Message, Place, say
from loambrief.numbers import NBSP
from loambrief.report.answer import CaseAnswer, answer
from loambrief.report.blocks import Heading, Span
from loambrief.report.links import SourceNumbers, Worked, calculation_links, distinct
from loambrief.report.money import Money, money_of
from loambrief.report.text import Writer
from loambrief.topics.assess import TOPICS, Diagnosis
from loambrief.units import Quantity

NO_INTEREST = ("none", "no", "no interest", "ninguno", "ninguna", "ningún interés", "sin interés")
"""What declares that there is no interest."""


@dataclass(frozen=True)
class Context:
    """Case, conclusions and words of one report."""

    loaded: LoadedCase
    diagnosis: Diagnosis
    plan: Plan
    calculations: tuple[Result, ...]
    writer: Writer
    chart_words: ChartWords
    sources: SourceNumbers = field(default_factory=SourceNumbers)
    annex_file: str = ""
    """Name of the annex where it is a file of its own; empty where it ends this one."""

    @cached_property
    def sections(self) -> dict[str, str]:
        """Sections of the annex with their numbers, in order: "acidity" -> "A2"."""
        told = {topic: bool(self.diagnosis.by_topic(topic)) for topic in TOPICS} | {
            "plan": bool(self.plan.actions or self.plan.verdicts),
            "missing": bool(self.diagnosis.missing),
            "history": self.diagnosis.history is not None,
            "photos": bool(self.loose_photos),
            "results": bool(self.case.samples),
            "sources": True,
            "glossary": True,
        }
        return {name: f"A{number}" for number, name in enumerate(
            (name for name, there in told.items() if there), start=1)}

    @property
    def loose_photos(self) -> list[PhotoEntry]:
        """Photos that stand beside no topic's findings."""
        return [entry for entry in self.case.photos
                if entry.shows is None or not self.diagnosis.by_topic(entry.shows)]

    def section(self, name: str) -> str:
        """Number of a section of the annex; empty if there is none."""
        return self.sections.get(name, "")

    def annex_heading(self, name: str, title: str, anchor: str) -> Heading:
        """Heading of a section of the annex, with its number."""
        return Heading(2, f"{self.section(name)}{NBSP * 2}{title}", anchor=anchor)

    @property
    def case(self) -> CaseFile:
        return self.loaded.case

    @property
    def system(self) -> str:
        return self.writer.system

    @cached_property
    def worked_out(self) -> tuple[Worked, ...]:
        """The calculations, equal ones as one."""
        return distinct(self.calculations)

    @cached_property
    def _printed(self) -> dict[str, str]:
        return {name: worked.ids[0] for worked in self.worked_out for name in worked.ids}

    def worked(self, results: Iterable[Result]) -> tuple[Span, ...]:
        """Links to calculations, under the numbers they are listed with."""
        return calculation_links(results, self._printed)

    def write(self, message: Message) -> str:
        return self.writer.write(message)

    def word(self, name: str, /, **params: object) -> str:
        """A fixed phrase of the report (``report.<name>``)."""
        return self.writer.write(say(f"report.{name}", **params))

    def amount(self, value: float, unit: str, digits: int | None = None,
               within: numbers.Ends | None = None) -> str:
        return self.writer.quantity(value, unit, digits, within)

    def rate(self, value: float, unit: str, within: numbers.Ends | None = None) -> str:
        return self.writer.rate(value, unit, within)

    def order(self, value: float, unit: str) -> str:
        return self.writer.order(value, unit)

    @cached_property
    def answer(self) -> CaseAnswer:
        """The answer to the question of the case."""
        return answer(self.case, self.diagnosis, self.plan)

    @cached_property
    def costs(self) -> Money:
        """Costs as they are printed everywhere: their parts add up to the total."""
        return money_of(self.plan)

    def cost(self, action: Action) -> str:
        """What an action costs, or that it has no price."""
        amount = self.costs.costs.get(action.id)
        return self.word("no_price") if amount is None else self.money(amount)

    @property
    def interested(self) -> bool:
        """True unless the adviser's statement is "none", or begins with that as a sentence."""
        first = re.split(r"[.;,]", self.case.adviser.interest, maxsplit=1)[0]
        return first.strip().casefold() not in NO_INTEREST

    def place(self, place: Place) -> str:
        """A place with its depth in the reader's units."""
        return self.writer.place(place)

    def term(self, text: str | None, context: str = "") -> str:
        """A term in the reader's language; typed text passes unchanged."""
        return self.writer.term(text, context) if text else ""

    def typed(self, value: object) -> str:
        """A result as it was typed, with a unit that the reader knows."""
        if value is None:
            return "–"
        if isinstance(value, Quantity):
            return self.writer.named(value.typed, value.typed_unit)
        return f"{float(str(value)):.2f}".removesuffix("0")

    @property
    def crop(self) -> str:
        """The crop as typed; in another language by the name its table has for what was typed."""
        typed = self.case.field.crop
        row = crops().get(fold(typed))
        shown = self.term(typed)
        if shown != typed or row is None or self.writer.tongue.folder == "en":
            return shown
        return self.term(str(row["crop"]))

    @property
    def governing(self) -> str:
        """Language whose text counts: the one set in the case, else the advisory's own."""
        return self.case.case.governing_language or self.writer.language.split("-")[0]

    def money(self, value: float) -> str:
        return self.writer.money(value)

    def finding(self, finding_id: str) -> Finding:
        return next(f for f in self.diagnosis.findings if f.id == finding_id)

    def topic_title(self, topic: str, otherwise: str) -> str:
        """The topic's gravest finding as a title, or a fixed phrase."""
        found = sorted(self.diagnosis.by_topic(topic), key=lambda f: -f.severity)
        return self.write(found[0].title) if found else self.word(otherwise)

    def in_budget(self, action: Action) -> bool:
        return action.id in self.plan.budget.chosen

    def reading(self, finding: Finding) -> str:
        """The key number of a finding with its unit, or nothing."""
        if finding.value is None:
            return ""
        digits = {"pH": 1, "in": 0, "meq/100g": 1}.get(finding.unit)  # depths: steps of inches
        if finding.unit == "%" and finding.grade is Grade.CALCULATED:
            digits = 0 if finding.value >= 10 else 1  # a test as typed keeps its digits
        ends = (finding.low, finding.high)
        if finding.unit in ("pH", "1", ""):
            text = self.writer.figures(finding.value, digits, ends)
            return f"pH{numbers.NBSP}{text}" if finding.unit == "pH" else text
        if finding.unit == "index":
            index = self.term("index", "unit")
            return f"{index}{numbers.NBSP}{self.writer.figures(finding.value)}"
        return self.amount(finding.value, finding.unit, digits, ends)
