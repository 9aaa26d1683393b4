"""Every formula, table, guide and crop with its source: what ``loambrief sources`` prints."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import loambrief.topics.formulas  # noqa: F401  (registers every formula)
from loambrief.agronomy.crops import crops
from loambrief.agronomy.guides import ANY_CROP, TEST_OF, Rule, known_guides
from loambrief.agronomy.possible import one_of
from loambrief.agronomy.registry import FORMULAS
from loambrief.tables import all_documents, all_tables, load, load_document, parts, reference
from loambrief.topics.nutrients.formulas_engine import worst_how

MICRONUTRIENTS = "nutrients/micronutrients"
HOW_WORDS = {
    "seen": "seen in its published text",
    "computed": "computed from published values",
    "memory": "from memory, unverified",
    "convention": "a definition or convention",
}


def source_rows(topic: str | None = None) -> list[dict[str, str]]:
    """Rows of kind, name, topic, citation, licence of the source, locator, how and evidence.

    Raises ``UnknownName`` for a topic that does not exist.
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
        one_of("topic", topic, known)
        rows = [row for row in rows if row["topic"] == topic]
    return rows


def _row(kind: str, name: str, topic: str, key: str, locator: str, how: str, evidence: str,
         notes: str = "") -> dict[str, str]:
    about = reference(key)
    return {
        "kind": kind,
        "name": name,
        "topic": topic,
        "reference": key,
        "citation": about.citation,
        "url": about.url,
        "licence": about.licence,
        "locator": locator,
        "how": HOW_WORDS[how],
        "evidence": evidence,
        "notes": notes,
    }


def rows_checked(topic: str | None = None) -> Mapping[str, int]:
    """How many rows of the tables were checked in which way, by the keys of ``HOW_WORDS``.

    A row counts by its own ``how`` where it has one, else by that of its table.
    """
    counts: Counter[str] = Counter()
    for name in all_tables():
        if topic in (None, name.split("/")[0]):
            table = load(name)
            counts.update(str(row.get("how") or table.source.how) for row in table.rows)
    return counts


def rules_checked() -> Mapping[str, int]:
    """How many rules of the guides were checked in which way; from memory as soon as a part is.

    A rule whose numbers were seen and whose extract alone is from memory counts as ``extract``.
    """
    return Counter(_rule_how(rule) for guide in known_guides().values() for rule in guide.rules)


def _rule_how(rule: Rule) -> str:
    parts = [how for part, how in rule.how_of.items() if part != "methods"]
    worst = worst_how(rule)
    return worst if worst == rule.how or "memory" in parts else "extract"


@dataclass(frozen=True)
class Covered:
    """One line of the list: a guide answers for this crop, nutrient and test method."""

    guide: str
    """Name of the guide, or of the micronutrient scale."""
    crop: str
    """Name of the crop table, or ``"*"`` for every crop."""
    nutrient: str
    """P2O5, K2O, N, Zn, B, Mn, Cu or Fe."""
    method: str
    """Extraction method of the soil test; of a nitrogen rule what it is read with."""
    gives_rate: bool
    """False where it only says whether to apply."""
    regions: tuple[str, ...]
    """States it was written for; empty for a general scale."""
    how: str
    """How far its values were checked."""


def coverage() -> tuple[Covered, ...]:
    """Everything that is judged by a guide or a micronutrient scale, each once."""
    found = [
        Covered(guide.name, crop, rule.nutrient, method, rule.gives_rates, guide.regions, rule.how)
        for guide in known_guides().values()
        for rule in guide.rules
        for crop in rule.crops
        for method in rule.methods
    ]
    scales: dict[tuple[str, str, str, str], Covered] = {}
    for row in load(MICRONUTRIENTS):
        rated = row["broadcast_low"] is not None
        for crop in parts(row["crops"]):
            key = (row["scale"], crop, row["nutrient"], row["method"])
            regions = () if row["region"] == ANY_CROP else (row["region"],)
            before = scales.get(key)
            scales[key] = Covered(*key, rated or (before is not None and before.gives_rate),
                                  regions, row["how"])
    return tuple(dict.fromkeys([*found, *scales.values()]))


def crops_without_guide() -> tuple[str, ...]:
    """Crops of the crop table that no guide covers for phosphorus nor potassium."""
    names = {c.crop for c in coverage() if c.nutrient in ("P2O5", "K2O")} - {ANY_CROP}
    return tuple(c.name for c in crops().values() if not names & set(c.lineage))


def guide_rows() -> list[dict[str, Any]]:
    """The fertilizer guides and micronutrient scales, each with what it covers.

    ``covers`` holds one entry per nutrient and test method: nutrient, test, method, crops (``*``
    for every crop) and gives_rate. ``nitrogen`` tells whether the guide has a rule of nitrogen; the
    ``method`` of such a rule is what it is read with.
    """
    listed: dict[str, list[dict[str, Any]]] = {}
    for one in coverage():
        entries = listed.setdefault(one.guide, [])
        key = {"nutrient": one.nutrient, "test": TEST_OF.get(one.nutrient, one.nutrient),
               "method": one.method, "gives_rate": one.gives_rate}
        entry = next((e for e in entries if {k: e[k] for k in key} == key), None)
        if entry is None:
            entries.append({**key, "crops": [one.crop]})
        elif one.crop not in entry["crops"]:
            entry["crops"].append(one.crop)
    guides, rows = known_guides(), []
    for name, covers in listed.items():
        guide = guides.get(name)
        regions = {r for one in coverage() if one.guide == name for r in one.regions}
        rows.append({
            "kind": "guide" if guide is not None else "micronutrient scale",
            "name": name,
            "title": guide.title if guide is not None else name,
            "regions": list(guide.regions) if guide is not None else sorted(regions),
            "depth_in": guide.depth_in if guide is not None else None,
            "interval_years": guide.interval_years if guide is not None else None,
            "nitrogen": any(c["nutrient"] == "N" for c in covers),
            "covers": covers,
        })
    return rows


def lime_table_rows() -> list[dict[str, Any]]:
    """The lime tables: name, title, regions, buffers, target pH, depth and citation."""
    return [
        {"name": row["name"], "title": row["title"],
         "regions": list(parts(row["regions"])), "buffers": list(parts(row["buffers"])),
         "targets": [part.split("=")[0] for part in parts(row["targets"])],
         "unit": row["unit"], "depth_in": row["base_depth_in"],
         "citation": reference(row["source"].split(";")[0]).citation,
         "how": HOW_WORDS[row["how"]]}
        for row in load("acidity/lime_tables")
    ]


def crop_rows() -> list[dict[str, Any]]:
    """The crops: name, other names, yield unit, and the guides that have a rule for each."""
    without = set(crops_without_guide())
    listed = coverage()
    return [
        {"name": crop.name, "synonyms": list(crop.synonyms), "yield_unit": crop.yield_unit,
         "group": crop.group,
         "guides": list(dict.fromkeys(
             c.guide for c in listed
             if c.guide in known_guides() and c.crop in crop.lineage)),
         "any_crop_only": crop.name in without}
        for crop in crops().values()
    ]
