"""The completeness gate: what must stand in a case before its advisory is issued.

The list is the table ``record/completeness``, each row named by what it asks for. Where the
case's state has a rule of its own (``record/completeness_states``), that rule is named.
Everything that is not there is reported at once, at the place where it would stand. What no
rule of the state asks for and the table lets go may be left out: an entry of ``accept`` with
its code, the field and a reason, which is printed in the advisory.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loambrief.actions.model import Action, Plan
from loambrief.case.problems import DataPath, Fault, Problem, in_file_order
from loambrief.case.profiles import resolve
from loambrief.case.reader import decode, read_text
from loambrief.case.schema import Accepted
from loambrief.case.source import SourceText
from loambrief.errors import TableFault
from loambrief.findings.model import JudgedKind, Judgement
from loambrief.pipeline import Advice
from loambrief.tables import load, reference
from loambrief.tables.regions import named
from loambrief.topics.judge import PRIMARY

TABLE = "record/completeness"
STATES = "record/completeness_states"


@dataclass(frozen=True)
class IssueCheck:
    """What the rules look at."""

    advice: Advice
    source: SourceText
    """The case's data with the places of everything, profiles put in."""
    unread_labs: Mapping[DataPath, str]
    """Lab files that the case names and that could not be frozen, with the reason."""


Rule = Callable[[IssueCheck, Mapping[str, object]], Iterator[tuple[DataPath, str]]]


def case_source(raw: bytes, file: str, folder: Path) -> SourceText:
    """Data and places of a case that is known to be readable."""
    return resolve(read_text(decode(raw, file), file)[0], folder).source


def missing(gate: IssueCheck) -> tuple[Problem, ...]:
    """Every row of the table that a case does not meet, in the order of its files.

    Returns
    -------
    tuple of Problem
        Empty if the advisory may be issued.
    """
    found: list[Problem] = []
    waived = {(a.code, _any(a.field)) for a in gate.advice.loaded.case.accept}
    for row in load(TABLE):
        code, laws = str(row["code"]), _state_rules(gate, str(row["code"]))
        may = row["waiver"] == "yes" and not laws
        for path, what in _rule(row)(gate, row):
            fault = Fault(code, path, what, str(row["wanted"]), _why(row, laws))
            problem = replace(gate.source.problem(fault), severity="error")
            if may and {(code, problem.field), (code, _any(problem.field))} & waived:
                continue
            if may:
                problem = replace(problem, help=(
                    f"{problem.help} If it cannot be had: accept: [{{code: {code}, field: "
                    f'"{problem.field}", reason: "..."}}]; the reason is printed.'))
            found.append(problem)
    return in_file_order(found)


def _rule(row: Mapping[str, object]) -> Rule:
    rule = RULES.get(str(row["rule"]))
    if rule is None:
        raise TableFault(f"{TABLE}: no rule {row['rule']!r}")
    return rule


def _any(field: str) -> str:
    """A field with its entries' names left out: ``samples[N].cores`` -> ``samples[].cores``."""
    return re.sub(r"\[[^]]*\]", "[]", field)


def _state_rules(gate: IssueCheck, code: str) -> list[Mapping[str, object]]:
    """Rules of the case's own state that ask for a point."""
    rows = [row for row in load(STATES) if row["code"] == code]
    case = gate.advice.loaded.case
    here = named((case.case.jurisdiction, case.farm.region), [str(r["region"]) for r in rows])
    return [row for row in rows if row["region"] in here]


def _why(row: Mapping[str, object], laws: Sequence[Mapping[str, object]]) -> str:
    """The state's own rule, or who else asks for it."""
    asking = laws[0] if laws else row
    about = reference(str(asking["source"]))
    if about.kind == "own":
        return "Wanted in every record of this program."
    return f"{about.citation} ({asking['locator']})"


# -- rules on the case ----------------------------------------------------------------


def _present(gate: IssueCheck, row: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    """One of the places holds something, in every entry of the list they go through."""
    choices = [choice.split(".") for choice in str(row["path"]).split("|")]
    for paths in _expanded(gate.source.data, choices):
        if not any(_filled(_at(gate.source.data, path)) for path in paths):
            yield paths[0], "nothing"


def _expanded(data: object, choices: list[list[str]]) -> Iterator[list[DataPath]]:
    """The choices once for each entry of a list; nothing where an optional part is absent."""
    head = choices[0][0]
    if head.endswith("[]"):
        name = head.removesuffix("[]")
        entries = data.get(name) if isinstance(data, Mapping) else None
        for i in range(len(entries) if isinstance(entries, list) else 0):
            yield [(name, i, *choice[1:]) for choice in choices]
        return
    part = data.get(head) if isinstance(data, Mapping) else None
    if part is None and len(choices[0]) > 1:
        return
    yield [tuple(choice) for choice in choices]


def _at(data: object, path: DataPath) -> object:
    for step in path:
        if isinstance(step, int):
            data = data[step] if isinstance(data, list) and step < len(data) else None
        else:
            data = data.get(step) if isinstance(data, Mapping) else None
    return data


def _filled(value: object) -> bool:
    if isinstance(value, str):
        return bool(value.strip())
    return value is not None and value != [] and value != {}


def _unexpired(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    case = gate.advice.loaded.case
    if case.adviser.credential.expires < case.case.date:
        yield ("adviser", "credential", "expires"), case.adviser.credential.expires.isoformat()


def _lab_file(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    yield from gate.unread_labs.items()


def _warnings(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    count = len(gate.advice.loaded.warnings)
    if count:
        codes = ", ".join(sorted({w.code for w in gate.advice.loaded.warnings}))
        yield ("accept",), f"{count} open warning{'s' * (count > 1)} ({codes})"


def _unjudged(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    for name, where in left_open(gate.advice.plan, gate.advice.loaded.case.accept):
        yield ("accept",), f"{name} not judged ({where}) and not accepted"


def _memory(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    for source, ranks in unchecked(gate.advice.plan, gate.advice.loaded.case.accept):
        yield ("accept",), f"{source} from memory (action {ranks}) and not accepted"


def _accepted(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
    case = gate.advice.loaded.case
    yield from unknown_accepted(gate.advice.plan, case.accept)
    rows = {str(row["code"]): row for row in load(TABLE)}
    for i, entry in enumerate(case.accept):
        row = rows.get(entry.code)
        if row is None:
            continue
        laws = _state_rules(gate, entry.code)
        if laws or row["waiver"] != "yes":
            by = f", since {laws[0]['region']} asks for it" if laws else ""
            yield ("accept", i, "code"), f"{entry.code}, which cannot be left out{by}"
            continue
        places = {gate.source.problem(Fault(entry.code, path, what, "")).field
                  for path, what in _rule(row)(gate, row)}
        if entry.field not in places | {_any(place) for place in places}:
            yield ("accept", i, "field"), f"{entry.field}, which {entry.code} does not miss"


# -- rules on the plan ----------------------------------------------------------------


def _each_action(wrong: Callable[[Action], bool],
                 where: Callable[[Action, IssueCheck], DataPath]) -> Rule:
    def rule(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
        for action in gate.advice.plan.actions:
            if wrong(action):
                yield where(action, gate), f"none for action {action.rank} ({action.id})"
    return rule


def _material(action: Action, gate: IssueCheck) -> DataPath:
    """Place of the material's price."""
    entries = gate.source.data.get("materials") or []  # type: ignore[attr-defined]
    ids = [str(e.get("id")).lower() if isinstance(e, Mapping) else "" for e in entries]
    name = str(action.material_id).lower()
    return ("materials", ids.index(name), "price") if name in ids else ("materials",)


def _of_plan(wrong: Callable[[Plan], bool], where: DataPath, what: str) -> Rule:
    def rule(gate: IssueCheck, _: Mapping[str, object]) -> Iterator[tuple[DataPath, str]]:
        if gate.advice.plan.actions and wrong(gate.advice.plan):
            yield where, what
    return rule


RULES: Mapping[str, Rule] = {
    "present": _present,
    "unexpired": _unexpired,
    "lab_file": _lab_file,
    "warnings": _warnings,
    "unjudged": _unjudged,
    "memory": _memory,
    "accepted": _accepted,
    "plan_area": _each_action(lambda a: a.rate is not None and a.area_ac is None,
                              lambda a, g: ("field", "area")),
    "plan_reason": _each_action(lambda a: not a.finding_ids and not a.reasons,
                                lambda a, g: ("samples",)),
    "plan_time": _each_action(lambda a: a.window is None, lambda a, g: ("field", "dates")),
    "plan_caution": _each_action(lambda a: a.rate is not None and not a.cautions, _material),
    "plan_price": _each_action(lambda a: a.rate is not None and a.material_id is not None
                               and (a.cost_total is None or a.price_date is None), _material),
    "plan_followup": _of_plan(lambda p: not p.followups, ("samples",), "no later look"),
    "plan_alternative": _of_plan(lambda p: not p.alternatives and any(
        a.supplies for a in p.actions), ("materials",), "no other way"),
}
"""Name of a rule in the table -> what finds where it is not met."""


def unjudged(plan: Plan) -> tuple[Judgement, ...]:
    """Verdicts that must be accepted: open ones on N, P2O5, K2O and lime."""
    return tuple(v for v in plan.unjudged() if v.key in PRIMARY)


def from_memory(plan: Plan) -> dict[str, list[Action]]:
    """Source -> actions that the money covers and whose rate rests on its unchecked values."""
    found: dict[str, list[Action]] = {}
    for action in plan.actions:
        if action.id in plan.budget.chosen:
            for source in action.from_memory():
                found.setdefault(source, []).append(action)
    return found


def left_open(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[str, str]]:
    """Name of a verdict that nobody accepted, and where it is open.

    Yields
    ------
    (str, str)
        ``nutrient.N`` and the ids of its places.
    """
    names = [a.field for a in accepted if a.code == "UNJUDGED"]
    rest: dict[str, list[Judgement]] = {}
    for verdict in unjudged(plan):
        if not any(verdict.answers_to(name) for name in names):
            rest.setdefault(f"{verdict.kind.value}.{verdict.key}", []).append(verdict)
    for name, verdicts in rest.items():
        yield name, ", ".join(v.place.id or "field" for v in verdicts)


def unchecked(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[str, str]]:
    """Source of rates from memory that nobody accepted, and the ranks of the actions."""
    names = {a.field for a in accepted if a.code == "MEMORY"}
    for source, actions in from_memory(plan).items():
        if source not in names:
            yield source, ", ".join(str(a.rank) for a in actions)


def unknown_accepted(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[DataPath, str]]:
    """Entries that accept what this advice does not have, with those that it has."""
    verdicts = [v for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                and v in plan.unjudged()]
    sources = from_memory(plan)
    for i, entry in enumerate(accepted):
        if entry.code == "UNJUDGED" and not any(v.answers_to(entry.field) for v in verdicts):
            known = sorted({v.id for v in verdicts})
        elif entry.code == "MEMORY" and entry.field not in sources:
            known = sorted(sources)
        else:
            continue
        yield ("accept", i, "field"), (f"{entry.field}; {entry.code} has "
                                       f"{', '.join(known) or 'nothing'}")
