"""What a scenario is expected to say, read from its ``expect.yaml``, and how each is checked.

A scenario is a whole field: ``<name>/case.yaml``, and what a competent adviser would and would
not say of it. Each expectation has one check, the source it rests on, and why. Checks look at
the data of the advisory and at the text of its page 1; actions are picked by the exact keys of
the plan, never by their wording.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cache, cached_property
from pathlib import Path

import yaml
from sample_reports import read, written

from loambrief.actions.model import Action, Plan
from loambrief.case.load import LoadedCase
from loambrief.errors import CaseProblems
from loambrief.render.plain import render_plain
from loambrief.report.blocks import ReportModel
from loambrief.report.parts import Summary

HERE = Path(__file__).parent
NAMES = tuple(sorted(p.parent.name for p in HERE.glob("*/expect.yaml")))
META = ("source", "why")
PRACTICE = "common practice"


@dataclass(frozen=True)
class Scenario:
    """A field and all that was said of it."""

    name: str
    loaded: LoadedCase
    plan: Plan
    data: Mapping
    summary: Summary
    page: str
    """Page 1 as plain text, on one line, without its running head and the question as asked."""
    advised: str
    """The part of ``page`` above what not to buy."""
    model: ReportModel

    @cached_property
    def text(self) -> str:
        """The whole document as plain text, on one line."""
        return " ".join(render_plain(self.model).decode().split())

    @property
    def pairs(self) -> list[tuple[Action, Mapping]]:
        """Actions of the plan with their data."""
        return list(zip(self.plan.actions, self.data["actions"], strict=True))

    def place_id(self, entry: Mapping) -> str:
        """Sample or zone an entry of the data stands for; empty for the field."""
        if "place" in entry:
            return str(entry["place"]["id"])
        for sample in self.loaded.case.samples:
            if entry["where"] and entry["where"].split(", ")[0] in (
                    str(sample.id), (sample.place or "").split(", ")[0]):
                return str(sample.id)
        return ""


@cache
def expectations(name: str) -> Mapping:
    """What ``expect.yaml`` of a scenario holds."""
    return _plain(HERE / name / "expect.yaml")


@cache
def typed(name: str) -> Mapping:
    """The case of a scenario as it was typed, without its checks."""
    return _plain(HERE / name / "case.yaml")


def _plain(path: Path) -> Mapping:
    with path.open(encoding="utf-8") as stream:
        return yaml.load(stream, Loader=yaml.CSafeLoader)


def scenario(name: str) -> Scenario:
    """A scenario, worked out once."""
    said = refusal(name)
    assert not said, said
    return _scenario(name)


@cache
def _scenario(name: str) -> Scenario:
    loaded = _loaded(name)
    assert isinstance(loaded, LoadedCase)
    advice, model = written(HERE / name / "case.yaml")
    data = next(a.content for a in model.attachments if a.name.endswith(".json"))
    first = model.blocks[0]
    assert isinstance(first, Summary)
    page = " ".join(render_plain(replace(model, blocks=(first,))).decode().split())
    page = page.split(model.title, 1)[-1]
    if loaded.case.case.purpose:
        page = page.replace(" ".join(loaded.case.case.purpose.split()), "")
    return Scenario(name, loaded, advice.plan, json.loads(data), first, page,
                    page.split(f" {model.words.avoid} -----", 1)[0], model)


@cache
def _loaded(name: str) -> LoadedCase | CaseProblems:
    """A case, read once, or why it is refused."""
    try:
        return read(HERE / name / "case.yaml")
    except CaseProblems as error:
        return error


def refusal(name: str) -> str:
    """Problems for which a case is refused, as text; empty if it is not refused."""
    found = _loaded(name)
    if isinstance(found, CaseProblems):
        return "\n".join(f"{p.line}: {p}" for p in found.problems)
    return ""


# picking


def picked(s: Scenario, *, kind: str | None = None, item: str | None = None,
           material: str | None = None, place: str | None = None, id: str | None = None,
           ) -> list[tuple[Action, Mapping]]:
    """Actions of a kind, an item (``P2O5``, ``lime``), a material's id, a place, an id pattern."""
    found = []
    for action, entry in s.pairs:
        items = {action.item, action.need.item, *action.item.split("+")}
        if ((kind is None or action.kind.value == kind)
                and (item is None or item in items)
                and (material is None or action.material_id == material)
                and (id is None or fnmatchcase(action.id, id))
                and (place is None or s.place_id(entry) == place)):
            found.append((action, entry))
    return found


def one(s: Scenario, selector: Mapping) -> list[tuple[Action, Mapping]]:
    found = picked(s, **selector)
    assert found, (f"no action {dict(selector)} among {[a.id for a in s.plan.actions]}")
    return found


def within(value: object, low: float, high: float) -> bool:
    return isinstance(value, int | float) and low - 1e-6 <= value <= high + 1e-6


def verdicts(s: Scenario) -> list[Mapping]:
    found = s.data.get("verdicts")
    assert found, "the data hold no verdicts"
    return found


def listed(value: object) -> list:
    return value if isinstance(value, list) else [value]


# checks: each takes the scenario and the words of the expectation


def check_verdict(s: Scenario, key: str, is_: object, place: str | None = None,
                  kind: str | None = None, reason: object = None, low: float | None = None,
                  high: float | None = None) -> None:
    """The verdict on a nutrient, amendment or material, at one place or at all.

    Where a field has one sample, a verdict on the whole field is one on its sample.
    """
    whole = [""] if len(s.loaded.case.samples) == 1 else []
    found = [v for v in verdicts(s) if v["key"] == key
             and (place is None or v["place"]["id"] in [place, *whole])
             and (kind is None or v["kind"] == kind)]
    assert found, f"no verdict on {key} at {place or 'any place'}"
    for v in found:
        assert v["verdict"] in listed(is_), (v["id"], v["verdict"], v["why"])
        if reason is not None:
            assert v["reason"] in listed(reason), (v["id"], v["reason"])
        if low is not None and high is not None:
            assert within(v["amount"], low, high), (v["id"], v["amount"], v["unit"])


def check_supplied(s: Scenario, key: str, low: float, high: float,
                   place: str | None = None) -> None:
    """lb/ac of a nutrient that all of the plan's first passes bring to a place."""
    total = sum(entry["supplies_lb_ac"].get(key) or 0.0 for action, entry in s.pairs
                if action.pass_number == 1 and (place is None or s.place_id(entry) == place))
    assert within(total, low, high), f"{total:g} lb/ac of {key}"


def check_rate(s: Scenario, action: Mapping, low: float, high: float,
               unit: str | None = None) -> None:
    """The printed rate of the actions picked, as the product is sold; tons as lb if asked."""
    for _, entry in one(s, action):
        rate, typed_unit = entry["rate"], entry["rate_unit"]
        if rate is not None and (typed_unit, unit) == ("ton/ac", "lb/ac"):
            rate, typed_unit = rate * 2000, unit
        assert unit in (None, typed_unit), typed_unit
        assert within(rate, low, high), (entry["id"], rate, typed_unit)


def check_cost(s: Scenario, action: Mapping, low: float, high: float) -> None:
    """The printed cost of the actions picked."""
    for _, entry in one(s, action):
        assert within(entry["cost_total"], low, high), (entry["id"], entry["cost_total"])


def check_need(s: Scenario, action: Mapping, low: float, high: float,
               end: str = "amount") -> None:
    """The amount needed or an ``end`` of its range, in its own unit, before a product."""
    for act, _ in one(s, action):
        value = getattr(act.need, end)
        assert within(value, low, high), (act.id, value, act.need.unit)


def check_action(s: Scenario, **selector: str) -> None:
    """There is such an action."""
    one(s, selector)


def check_no_action(s: Scenario, **selector: str) -> None:
    """There is none."""
    found = [a.id for a, _ in picked(s, **selector)]
    assert not found, found


def check_before(s: Scenario, first: Mapping, then: Mapping) -> None:
    """The first ranks before the second."""
    early = min(a.rank for a, _ in one(s, first))
    late = min(a.rank for a, _ in one(s, then))
    assert early < late, (early, late)


def check_chosen(s: Scenario, **selector: str) -> None:
    """The money covers it."""
    for action, _ in one(s, selector):
        assert action.id in s.plan.budget.chosen, action.id


def check_not_chosen(s: Scenario, **selector: str) -> None:
    """The money is not kept for it."""
    spent = [a.id for a, _ in one(s, selector) if a.id in s.plan.budget.chosen and a.cost_total]
    assert not spent, spent


def check_window(s: Scenario, action: Mapping, not_before: dt.date | None = None,
                 not_after: dt.date | None = None) -> None:
    """The work falls between two days."""
    for act, _ in one(s, action):
        assert act.window is not None, act.id
        start, end = act.window.start, act.window.end
        assert not_before is None or (start is not None and start >= not_before), (act.id, start)
        assert not_after is None or (end is not None and end <= not_after), (act.id, end)


def check_optional(s: Scenario, action: Mapping, is_: bool = True) -> None:
    """An action that may be skipped says so, on page 1 too."""
    for _, entry in one(s, action):
        assert entry.get("optional") is is_, (entry["id"], entry.get("optional"))
    assert not is_ or re.search(r"\boptional\b", s.page, re.I), "page 1 does not say optional"


def check_caution(s: Scenario, action: Mapping, key: object) -> None:
    """An action carries a caution, by its key."""
    for act, _ in one(s, action):
        keys = {c.key for c in (*act.cautions, *act.notes, *act.limits)}
        assert keys & set(listed(key)), (act.id, sorted(keys))


def check_no_caution(s: Scenario, action: Mapping, key: object) -> None:
    for act, _ in one(s, action):
        keys = {c.key for c in (*act.cautions, *act.notes, *act.how, act.title, act.need.text)}
        assert not keys & set(listed(key)), (act.id, sorted(keys & set(listed(key))))


def check_page(s: Scenario, all: Iterable[str] = (), any: Iterable[str] = (),
               none: Iterable[str] = ()) -> None:
    """Patterns on page 1, without regard to case."""
    text = s.page
    lacking = [p for p in all if not re.search(p, text, re.I)]
    assert not lacking, f"page 1 lacks {lacking}"
    alternatives = list(any)
    assert not alternatives or [p for p in alternatives if re.search(p, text, re.I)], (
        f"page 1 has none of {alternatives}")
    wrong = [m.group(0) for p in none if (m := re.search(p, text, re.I))]
    assert not wrong, f"page 1 says {wrong}"


def check_named(s: Scenario, all: Iterable[str] = (), any: Iterable[str] = ()) -> None:
    """Patterns on page 1 above what not to buy."""
    check_page(replace(s, page=s.advised), all=all, any=any)


def check_not_against(s: Scenario, materials: Iterable[str]) -> None:
    """None of these materials is advised against."""
    against = {n.material_id for n in s.plan.not_advised}
    wrong = [m for m in materials if m in against]
    assert not wrong, f"advised against: {wrong}"


def check_against(s: Scenario, materials: Iterable[str]) -> None:
    """Each of these materials is advised against."""
    against = {n.material_id for n in s.plan.not_advised}
    assert set(materials) <= against, sorted(filter(None, against))


def check_reason(s: Scenario, material: str, text: str) -> None:
    """Where a material is turned down, the reason names what turned it down."""
    said = [e["why"] for e in s.data["not_advised"]
            if material in (e.get("material"), e.get("material_id"))]
    said += [v["why"] for v in s.data.get("verdicts", ())
             if v["kind"] == "material" and v["key"] == material]
    assert said, f"nothing is said of {material}"
    assert [t for t in said if re.search(text, t, re.I)], said


def check_finding(s: Scenario, id: str, status: object = None, low: float | None = None,
                  high: float | None = None, says_not: str | None = None,
                  some: bool = False) -> None:
    """All findings whose id matches (or ``some`` of them): state, value, no word in the title."""
    found = [f for f in s.data["findings"] if fnmatchcase(f["id"], id)]
    assert found, f"no finding {id}"
    wrong = [(f["id"], f["status"], f["value"], f["title"]) for f in found
             if (status is not None and f["status"] not in listed(status))
             or (low is not None and high is not None and not within(f["value"], low, high))
             or (says_not is not None and re.search(says_not, f["title"], re.I))]
    assert len(wrong) < len(found) if some else not wrong, wrong


def check_no_finding(s: Scenario, id: str, status: object = None) -> None:
    found = [f["id"] for f in s.data["findings"] if fnmatchcase(f["id"], id)
             and (status is None or f["status"] in listed(status))]
    assert not found, found


def check_calculation(s: Scenario, formula: str, low: float, high: float) -> None:
    """Some answer of a formula lies in a range."""
    values = [c["value"] for c in s.data["calculations"] if c["formula"] == formula]
    assert [v for v in values if within(v, low, high)], (formula, values)


def check_missing(s: Scenario, text: str) -> None:
    """What was not measured is said."""
    said = [f"{m['what']}: {m['consequence']}" for m in s.data["missing"]]
    assert [t for t in said if re.search(text, t, re.I)], said


def check_warned(s: Scenario, text: str) -> None:
    """Reading the case warns."""
    said = [str(p) for p in s.loaded.warnings]
    assert [t for t in said if re.search(text, t, re.I | re.S)], said


def check_says(s: Scenario, text: str) -> None:
    """The data or the printed document says it: a finding, a caution, a laboratory's facts."""
    parts = {k: s.data.get(k) for k in ("findings", "actions", "not_advised", "missing",
                                        "monitoring", "verdicts")}
    answer = (s.data.get("question") or {}).get("answer")
    whole = json.dumps([parts, answer], ensure_ascii=False).replace("\u00a0", " ")
    assert re.search(text, whole, re.I) or re.search(text, s.text, re.I), f"nothing says {text}"


def check_no_rates(s: Scenario, only: Iterable[str] = ()) -> None:
    """No action has a rate of a product."""
    rated = [a.id for a in s.plan.actions if a.rate is not None and a.kind.value not in only]
    assert not rated, rated


def check_question(s: Scenario, answered: bool, says: str | None = None,
                   basis: str | None = None) -> None:
    """The grower's question is answered, or said to lack something."""
    question = s.data.get("question")
    assert question, "the data answer no question"
    assert question["answered"] is answered, question
    assert says is None or re.search(says, question["answer"], re.I), question["answer"]
    if answered:
        assert question["basis"], "an answer that rests on no finding"
        if basis is not None:
            assert [b for b in question["basis"] if fnmatchcase(b, basis)], question["basis"]
    assert " ".join(question["answer"].split())[:60] in s.page, "page 1 does not give the answer"


def check_refused(s: str, text: str) -> None:
    """The case is refused, and the refusal says so."""
    said = refusal(s)
    assert said, "the case is taken as it is"
    assert re.search(text, said, re.I | re.S), said


CHECKS: dict[str, Callable] = {
    name.removeprefix("check_"): value for name, value in list(globals().items())
    if name.startswith("check_")
}


def check_of(expectation: Mapping) -> tuple[str, object]:
    """The one check of an expectation, and its words."""
    names = [key for key in expectation if key not in META]
    assert len(names) == 1 and names[0] in CHECKS, names
    return names[0], expectation[names[0]]


def run(name: str, expectation: Mapping) -> None:
    """Check one expectation of a scenario."""
    check, words = check_of(expectation)
    if isinstance(words, list):
        words = {"materials": words}
    words = {{"is": "is_"}.get(key, key): value for key, value in words.items()}
    CHECKS[check](name if check == "refused" else scenario(name), **words)
