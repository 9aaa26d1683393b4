"""Every formula and table with its source: what ``loambrief sources`` and the docs print."""

from __future__ import annotations

import loambrief.topics.formulas  # noqa: F401  (registers every formula)
from loambrief.agronomy.registry import FORMULAS
from loambrief.errors import UnknownName
from loambrief.tables import all_documents, all_tables, load, load_document, reference

HOW_WORDS = {
    "seen": "seen in its published text",
    "computed": "computed from published values",
    "memory": "from memory, unverified",
    "convention": "a definition or convention",
}


def source_rows(topic: str | None = None) -> list[dict[str, str]]:
    """Rows of kind, name, topic, citation, locator, how and evidence.

    Parameters
    ----------
    topic : str or None
        Only this topic.

    Raises
    ------
    UnknownName
        No such topic.
    """
    rows = []
    for name in sorted(FORMULAS):
        item = FORMULAS[name]
        rows.append(_row("formula", name, item.topic, item.source, item.locator, item.how,
                         item.evidence))
    for name in all_tables():
        about = load(name).source
        rows.append(_row("table", name, name.split("/")[0], about.reference, about.locator,
                         about.how, "", about.notes))
    for name in all_documents():
        about = load_document(name)["source"]
        rows.append(_row("table", name, name.split("/")[0], about["reference"],
                         about.get("locator", ""), about["how"], "", about.get("notes", "")))
    if topic is not None:
        known = tuple(sorted({row["topic"] for row in rows}))
        if topic not in known:
            raise UnknownName("topic", topic, known)
        rows = [row for row in rows if row["topic"] == topic]
    return rows


def _row(kind, name, topic, key, locator, how, evidence, notes="") -> dict[str, str]:
    about = reference(key)
    return {
        "kind": kind,
        "name": name,
        "topic": topic,
        "reference": key,
        "citation": about.citation,
        "url": about.url,
        "locator": locator,
        "how": HOW_WORDS[how],
        "evidence": evidence,
        "notes": notes,
    }
