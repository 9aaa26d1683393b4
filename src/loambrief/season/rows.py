"""One advisory's data taken apart into rows of the season's tables.

Data of every version is read: what a version did not say is not known, and never made up.
"""

import math
from collections.abc import Iterator, Mapping
from types import MappingProxyType

from loambrief.report.data import SCHEMA_VERSION
from loambrief.season.growing import COUNT, DAY, FLAG, NUMBER, TEXT, Schema

ADVISORIES: Schema = {
    "advisory": COUNT, "source": TEXT, "number": TEXT, "revision": COUNT, "status": TEXT,
    "version": TEXT, "case_id": TEXT, "date": DAY, "valid_until": DAY, "client": TEXT,
    "adviser": TEXT, "farm": TEXT, "region": TEXT, "field_id": TEXT, "field": TEXT, "crop": TEXT,
    "area_ac": NUMBER, "currency": TEXT, "plan_cost": NUMBER, "budget": NUMBER,
    "has_results": FLAG, "language": TEXT, "units": TEXT, "paper": TEXT,
}
RESULTS: Schema = {
    "advisory": COUNT, "kind": TEXT, "test": TEXT, "place": TEXT, "label": TEXT, "taken": DAY,
    "lab": TEXT, "cores": NUMBER, "top_in": NUMBER, "bottom_in": NUMBER, "main": FLAG,
    "quantity": TEXT, "censor": TEXT, "value": NUMBER, "unit": TEXT, "method": TEXT,
}
FINDINGS: Schema = {
    "advisory": COUNT, "finding": TEXT, "topic": TEXT, "subject": TEXT, "place": TEXT,
    "status": TEXT, "severity": COUNT, "confidence": TEXT, "evidence": TEXT, "value": NUMBER,
    "unit": TEXT, "title": TEXT,
}
ACTIONS: Schema = {
    "advisory": COUNT, "action": TEXT, "rank": COUNT, "kind": TEXT, "place": TEXT, "label": TEXT,
    "title": TEXT, "material": TEXT, "rate": NUMBER, "rate_unit": TEXT, "area_ac": NUMBER,
    "total": NUMBER, "total_unit": TEXT, "state": TEXT, "optional": FLAG, "own": TEXT,
    "start": DAY, "end": DAY, "cost": NUMBER,
}
ORDERS: Schema = {
    "advisory": COUNT, "material": TEXT, "pass": COUNT, "needed_lb": NUMBER, "ordered_lb": NUMBER,
    "left_over_cost": NUMBER,
}
MONEY: Schema = {
    "advisory": COUNT, "kind": TEXT, "state": TEXT, "actions": COUNT, "without_price": COUNT,
    "cost": NUMBER,
}
DONE: Schema = {
    "advisory": COUNT, "action": TEXT, "kind": TEXT, "material": TEXT, "where": TEXT, "day": DAY,
    "planned_rate": TEXT, "rate": TEXT, "planned_cost": NUMBER, "cost": NUMBER, "not_done": TEXT,
}
CHECKS: Schema = {"advisory": COUNT, "due": DAY, "what": TEXT, "kind": TEXT}

SCHEMAS: Mapping[str, Schema] = {
    "advisories": ADVISORIES, "results": RESULTS, "findings": FINDINGS, "actions": ACTIONS,
    "orders": ORDERS, "money": MONEY, "done": DONE, "checks": CHECKS}
COVERED, WAITING = "covered", "waiting"
STATES = {"chosen": COVERED, "left_out": WAITING, "deferred": "deferred",
          "undecided": "undecided"}
"""Lists of the budget -> state of the actions they name."""
PACKAGES, TOGETHER = "whole packages", "ordered together"
"""Parts of a plan's cost that belong to no action."""
Rows = dict[str, list[tuple]]


class OddData(Exception):
    """The data is not that of an advisory, or of a version that is not known here."""


def rows_of(data: object, advisory: int, source: str,
            known: Mapping[str, str | None] = MappingProxyType({})) -> Rows:
    """Rows of every table from one advisory's JSON.

    Parameters
    ----------
    advisory : int
        Number that joins the tables.
    source : str
        Where it was found.
    known : mapping
        ``client``, ``farm``, ``field`` and ``crop`` by the archive, for data that does not say.

    Raises
    ------
    OddData
        Something is not what it should be; nothing of it counts then.
    """
    if not isinstance(data, Mapping):
        raise OddData("it is no object")
    version = data.get("schema_version")
    if not isinstance(version, int) or not 1 <= version <= SCHEMA_VERSION:
        raise OddData(f"its schema_version is {version!r}; this version of the program knows "
                      f"1 to {SCHEMA_VERSION}")
    try:
        made = {
            "advisories": [_advisory(data, advisory, source, known)],
            "results": list(_results(data, advisory)),
            "findings": list(_findings(data, advisory)),
            "actions": list(_actions(data, advisory)),
            "orders": list(_orders(data, advisory)),
            "done": list(_done(data, advisory)),
            "checks": list(_checks(data, advisory)),
        }
        made["money"] = list(_money(data, advisory, made["actions"]))
    except (AttributeError, IndexError, KeyError, TypeError, ValueError) as error:
        raise OddData(f"{type(error).__name__}: {error}") from error
    return made


def _text(value: object) -> str:
    """A text as it stands; empty for none."""
    if value is None:
        return ""
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def _number(value: object) -> float:
    """A number; NaN where there is none, or a word in its place."""
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    return math.nan


def _whole(value: object) -> int:
    return 0 if value is None else int(value)  # type: ignore[call-overload]


def _advisory(data: Mapping, advisory: int, source: str, known: Mapping) -> tuple:
    parties, printed, budget = (data.get("parties") or {}, data.get("printed") or {},
                                data["budget"])
    field = {**{k: known.get(k) for k in ("farm", "crop")}, **(data.get("field") or {})}
    name = _text(field.get("name")) or _text(known.get("field")) or _whole_field(data)
    return (advisory, source, _text(data.get("number")), _whole(data.get("revision")),
            _text(data["status"]), _text(data["loambrief_version"]), _text(data["case_id"]),
            _text(data["generated_for"]), _text(data.get("valid_until")),
            _text(parties.get("client") or known.get("client")), _text(parties.get("adviser")),
            _text(field.get("farm")), _text(field.get("region")), _text(field.get("id")), name,
            _text(field.get("crop")), _number(field.get("area_ac")), _text(budget["currency"]),
            _number((budget.get("printed") or {}).get("total", budget.get("spent"))),
            _number(budget["limit"]), "tests" in data, _text(printed.get("language")),
            _text(printed.get("units")), _text(printed.get("paper")))


def _place(thing: Mapping) -> Mapping:
    """Where something is, as data; nothing in versions that only named it."""
    place = thing.get("place")
    return place if isinstance(place, Mapping) else {}


def _whole_field(data: Mapping) -> str:
    """Name of the field in data that does not state it: that of findings on all of it."""
    labels = (_place(f)["label"] for f in data["findings"] if _place(f).get("id") == "")
    return next((_text(label) for label in labels if label), _text(data["case_id"]))


def _results(data: Mapping, advisory: int) -> Iterator[tuple]:
    for test in data.get("tests") or ():
        head = (advisory, _text(test["kind"]), _text(test["id"]), _text(test["place"]),
                _text(test["label"]), _text(test["date"]), _text(test["lab"]),
                _number(test["cores"]))
        for layer in test["layers"]:
            top, bottom = layer["depth"] or (None, None)
            where = (_number(top), _number(bottom), bool(layer.get("main")))
            for quantity, result in layer["results"].items():
                value = _number(result["value"])
                if math.isnan(value):
                    raise ValueError(f"{quantity} of {head[2]} is no number")
                yield (*head, *where, quantity, _text(result.get("censor")), value,
                       _text(result["unit"]), _text(result.get("method")))


def _findings(data: Mapping, advisory: int) -> Iterator[tuple]:
    for f in data["findings"]:
        name = _text(f["id"])
        yield (advisory, name, _text(f["topic"]), ".".join(name.split(".")[:2]),
               _text(_place(f).get("id")), _text(f["status"]),
               _whole(f["severity"]), _text(f["confidence"]), _text(f["evidence_grade"]),
               _number(f.get("value")), _text(f.get("unit")), _text(f["title"]))


def _actions(data: Mapping, advisory: int) -> Iterator[tuple]:
    budget = data["budget"]
    state = {name: state for listed, state in STATES.items() for name in budget.get(listed) or ()}
    printed = (budget.get("printed") or {}).get("actions") or {}
    for a in data["actions"]:
        when, own = a.get("when") or {}, a.get("own")
        yield (advisory, _text(a["id"]), _whole(a["rank"]), _text(a["kind"]),
               _text(_place(a).get("id")), _text(a.get("where")), _text(a["title"]),
               _text(a.get("material")), _number(a.get("rate")), _text(a.get("rate_unit")),
               _number(a.get("area")), _number(a.get("total")), _text(a.get("total_unit")),
               state.get(a["id"], ""), bool(a.get("optional")),
               own if isinstance(own, str) else "", _text(when.get("start")),
               _text(when.get("end")), _number(printed.get(a["id"], a.get("cost_total"))))


def _orders(data: Mapping, advisory: int) -> Iterator[tuple]:
    for o in data.get("orders") or ():
        yield (advisory, _text(o["material"]), _whole(o.get("pass")), _number(o.get("needed_lb")),
               _number(o.get("ordered_lb")), _number(o.get("left_over_cost")))


def _money(data: Mapping, advisory: int, actions: list[tuple]) -> Iterator[tuple]:
    """Cost by kind of work and state; what the plan covers adds up to its printed total."""
    at = {name: n for n, name in enumerate(ACTIONS)}
    sums: dict[tuple[str, str], list] = {}
    for row in actions:
        entry = sums.setdefault((row[at["kind"]], row[at["state"]]), [0, 0, 0.0])
        cost = row[at["cost"]]
        entry[0] += 1
        if math.isnan(cost):
            entry[1] += 1
        else:
            entry[2] += cost
    for (kind, state), (count, unpriced, cost) in sorted(sums.items()):
        yield advisory, kind, state, count, unpriced, cost if count > unpriced else math.nan
    printed = data["budget"].get("printed") or {}
    for kind, amount in ((PACKAGES, _number(printed.get("whole_packages"))),
                         (TOGETHER, -_number(printed.get("saved_together")))):
        if amount and not math.isnan(amount):
            yield advisory, kind, COVERED, 0, 0, amount


def _done(data: Mapping, advisory: int) -> Iterator[tuple]:
    for d in (data.get("history") or {}).get("done") or ():
        yield (advisory, _text(d["action"]), _text(d.get("kind")), _text(d.get("material")),
               _text(d.get("where")), _text(d.get("date")), _text(d.get("planned_rate")),
               _text(d.get("rate")), _number(d.get("planned_cost")), _number(d.get("cost")),
               _text(d.get("not_done")))


def _checks(data: Mapping, advisory: int) -> Iterator[tuple]:
    kinds = {a["id"]: _text(a["kind"]) for a in data["actions"]}
    for m in data.get("monitoring") or ():
        yield (advisory, _text(m["due"]), _text(m["what"]), kinds.get(m.get("action"), ""))
