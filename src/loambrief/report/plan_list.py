"""The plan as a list of ids for the adviser: what can be changed, and every verdict with why."""

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

from loambrief import numbers
from loambrief.actions.model import Action, Plan
from loambrief.findings.model import JudgedKind
from loambrief.report.data import plain
from loambrief.report.text import Writer

WIDTH = 92


@dataclass(frozen=True)
class ListedPlan:
    """Actions and verdicts of a plan, in words and as data."""

    plan: Plan
    writer: Writer
    warnings: tuple[object, ...] = ()

    def as_json(self) -> dict:
        """Ids, rates, money and verdicts as data."""
        write = self.writer.write
        return {
            "actions": [
                {"id": a.id, "rank": a.rank, "title": write(a.title), "place": a.place.id,
                 "rate": plain(a.rate), "rate_unit": a.rate_unit,
                 "cost_total": plain(a.cost_total), "in_budget": a.id in self.plan.budget.chosen,
                 "own": a.own or None, "changed": list(a.changed),
                 "why": None if a.rank_reason is None else write(a.rank_reason),
                 "findings": list(a.finding_ids)} for a in self.plan.actions],
            "set_aside": [{"id": s.action.id, "title": write(s.action.title), "reason": s.reason}
                          for s in self.plan.set_aside],
            "verdicts": [{"id": v.id, "verdict": v.verdict.value, "why": write(v.why),
                          "set_aside": list(v.set_aside)} for v in self._verdicts()],
        }

    def as_yaml(self) -> str:
        """Remarks on every action and verdict, then changes ready to be pasted into the case."""
        lines: list[str] = []
        for action in self.plan.actions:
            lines += self._action(action)
        for aside in self.plan.set_aside:
            lines += _remark(f"--  {aside.action.id}", self._said(
                f"{self.writer.write(aside.action.title)}: {aside.reason}"))
        lines.append("#")
        for verdict in self._verdicts():
            lines += _remark(f"{verdict.id}: {verdict.verdict.value}",
                             self._said(self.writer.write(verdict.why)))
        free = [a for a in self.plan.actions
                if not a.own and not a.changed and not a.rest_of]
        if free:
            lines += ["#", "# change: drop, defer (until or condition), replace (material, rate),",
                      "# split (parts) or move (rank). Keep only what you change.",
                      "plan_changes:"]
            lines += [f'  - {{action: "{a.id}", change: drop, reason: "<why>"}}' for a in free]
        return "\n".join(lines) + "\n"

    def _verdicts(self):
        return [v for v in self.plan.verdicts if v.kind is not JudgedKind.PRACTICE]

    def _action(self, action: Action) -> Iterable[str]:
        writer = self.writer
        about = [writer.write(action.title)]
        if action.place.label and not writer.tells(action.title, action.place):
            about.append(writer.place(action.place))
        if action.cost_total is not None:
            about.append(writer.money(action.cost_total))
        lines = _remark(f"{action.rank:>2}. {action.id}", self._said("; ".join(about)))
        if action.rank_reason is not None:
            lines += _remark("", self._said(writer.write(action.rank_reason)))
        return lines

    @staticmethod
    def _said(text: str) -> str:
        return text.replace(numbers.NBSP, " ")


def _remark(head: str, text: str) -> list[str]:
    """A head and an indented text as remarks of YAML."""
    lines = [f"# {head}"] if head else []
    return lines + textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent="#     ",
                                 subsequent_indent="#     ")
