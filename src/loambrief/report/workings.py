"""How each number was worked out: calculations by topic and formula, told as briefly as can be.

Equal calculations are one line with all their numbers. What the calculations of a formula
have in common stands once, with the formula. Long rows of readings are counted, with their
ends; every digit of them is in the attached data.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from loambrief.agronomy.registry import FORMULAS, Result
from loambrief.numbers import NBSP, signed, symbol
from loambrief.report.blocks import Block, Fact, Span, Text, plain
from loambrief.report.context import Context
from loambrief.report.links import Worked, anchor
from loambrief.report.parts import Calculation, CalculationList
from loambrief.topics.assess import TOPICS

PARTS = {"sodicity": "salinity", "irrigation": "salinity", "carbon": "carbon_nitrogen"}
"""First word of a topic of formulas to the topic of findings, where the two differ."""
MOST_VALUES = 6
"""Longer rows of readings are counted."""
UNIT_OF = {  # last words of a parameter's name -> its unit
    "g_cm3": "g/cm³", "meq_l": "meq/L", "ds_m": "dS/m", "kg_ha": "kg/ha", "lb_ac": "lb/ac",
    "t_ha": "t/ha", "mg_l": "mg/L", "ppm": "ppm", "pct": "%", "meq": "meq/100 g", "psi": "psi",
    "mpa": "MPa", "in": "in", "cm": "cm", "mm": "mm", "ac": "ac", "days": "days", "c": "°C",
}


class Workings:
    """The calculations of a case, each handed out once, where it is first needed."""

    def __init__(self, context: Context):
        self.context = context
        self._left = {id(worked): worked for worked in context.worked_out}
        self._by_name = {name: worked for worked in context.worked_out for name in worked.ids}

    def take(self, results: Iterable[Result]) -> list[Block]:
        """Those of a finding or an action that were not printed yet."""
        wanted = dict.fromkeys(id(self._by_name[r.calculation]) for r in results
                               if r.calculation in self._by_name)
        return self._listed([self._left.pop(key) for key in wanted if key in self._left])

    def rest(self, topic: str) -> list[Block]:
        """What else was worked out in a topic; "" for all that is left."""
        mine = [worked for worked in self._left.values()
                if not topic or topic_of(worked.result) == topic]
        for worked in mine:
            del self._left[id(worked)]
        return self._listed(mine)

    def _listed(self, worked: Sequence[Worked]) -> list[Block]:
        groups: dict[tuple, list[Worked]] = {}
        for one in worked:
            result = one.result
            key = (result.formula, result.source, result.locator, result.how)
            groups.setdefault(key, []).append(one)
        items = tuple(item for members in groups.values() for item in _group(self.context, members))
        return [CalculationList(items)] if items else []


def topic_of(result: Result) -> str:
    """Topic of findings that a calculation belongs to; empty if it belongs to none."""
    first = FORMULAS[result.formula].topic.split("_")[0]
    topic = PARTS.get(first, first)
    return topic if topic in TOPICS else ""


def _group(context: Context, members: list[Worked]) -> Iterator[Calculation]:
    """The calculations of one formula."""
    inputs = [tuple(_inputs(context, w.result.inputs)) for w in members]
    common = [fact for fact in inputs[0] if all(fact in facts for facts in inputs)] if (
        len(members) > 1) else []
    title = _formula_line(context, members[0].result, common)
    field = context.case.field.name
    for worked, facts in zip(members, inputs, strict=True):
        result = worked.result
        yield Calculation(
            number=", ".join(worked.ids),
            group=title,
            name="; ".join(context.writer.about(s) for s in worked.subjects if s)
            or (field if not facts else ""),
            inputs=tuple(fact for fact in facts if fact not in common),
            answer=_answer(context, result),
            outside="" if result.within_range else context.word("outside_range"),
            anchor=anchor("c", worked.ids[0]),
        )


def _formula_line(context: Context, result: Result, common: list[Fact]) -> Text:
    """Name of the quantity, registered name, source, how it was checked, common inputs."""
    name = (FORMULAS[result.formula].__doc__ or result.formula).strip().splitlines()[0]
    how = context.word(f"how_{result.how}") if result.how != "seen" else ""
    if result.evidence == "common practice":
        how = context.word("grade_common_practice")
    tail = "; ".join(part for part in (result.locator, how) if part)
    shared = "; ".join(f"{plain(fact.label)}{NBSP}{plain(fact.value)}" for fact in common)
    return (
        Span(context.term(name.rstrip(".")), bold=True),
        Span(f" {result.formula} ", muted=True),
        *context.sources.cite((result.source,)),
        Span(f" {tail}" if tail else "", muted=True),
        f". {context.word('in_each')} {shared}." if shared else "",
    )


def _answer(context: Context, result: Result) -> str:
    if result.value is None:
        return context.word("no_answer")
    if isinstance(result.value, str):
        return context.term(result.value)
    unit = "" if result.unit in ("1", "pH") else _unit(context, result.unit)
    glue = "" if unit in ("", "%") else NBSP
    return f"{_precise(context, result.value)}{glue}{unit}"


def _unit(context: Context, unit: str) -> str:
    """A unit in the reader's language: a word of the catalogue or a symbol."""
    return symbol(context.term(unit, "unit"), context.writer.signs)


def _precise(context: Context, value: float) -> str:
    """Unrounded for the record, yet readable: five significant digits."""
    text = f"{value:.5g}"
    text = f"{value:,.0f}" if "e" in text and abs(value) < 1e9 else text
    return signed(text, context.writer.signs)


def _inputs(context: Context, inputs: Mapping[str, object]) -> Iterator[Fact]:
    for name, value in inputs.items():
        label, unit = _label(name)
        yield Fact(context.term(label, "input"),
                   _value(context, value, _unit(context, unit)))


def _label(name: str) -> tuple[str, str]:
    words = name.split("_")
    for at in range(1, len(words)):  # the longest unit first
        if unit := UNIT_OF.get("_".join(words[at:])):
            return " ".join(words[:at]), unit
    return " ".join(words), ""


def _value(context: Context, value: object, unit: str) -> str:
    if isinstance(value, bool):
        return context.word("yes" if value else "no")
    if isinstance(value, int | float):
        glue = "" if unit in ("", "%") else NBSP
        return f"{_precise(context, float(value))}{glue}{unit}"
    if isinstance(value, Mapping):
        return ", ".join(f"{context.term(str(k))} {_value(context, v, '')}"
                         for k, v in value.items())
    if isinstance(value, list | tuple):
        tail = f" {unit}" if unit else ""
        numbers = list(_numbers(value))
        if len(numbers) > MOST_VALUES:
            return context.word("many_values", count=len(numbers),
                                low=_precise(context, min(numbers)),
                                high=f"{_precise(context, max(numbers))}{tail}")
        return "; ".join(_value(context, v, "") for v in value) + tail
    return context.term(str(value))


def _numbers(value: object) -> Iterator[float]:
    """All numbers in rows of readings, however deep."""
    if isinstance(value, list | tuple):
        for item in value:
            yield from _numbers(item)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield float(value)
