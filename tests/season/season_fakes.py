"""Data of invented advisories, as little as the season reads of them."""

from __future__ import annotations

import json
from pathlib import Path


def advisory(case_id: str = "a-2025", client: str = "Ash", field: str | dict = "Home",
             **changes) -> dict:
    """An advisory of one field; ``changes`` take the place of whole keys."""
    made = {
        "schema_version": 1, "case_id": case_id, "generated_for": "2025-10-14",
        "valid_until": "2026-04-30", "loambrief_version": "0.5.0",
        "printed": {"language": "en", "units": "us", "paper": "letter"},
        "parties": {"adviser": "Ilse Varga", "client": client, "contact": None},
        "field": field if isinstance(field, dict) else {
            "id": None, "name": field, "farm": f"{client} farm", "region": "Ohio",
            "crop": "corn", "area_ac": 40.0},
        "status": "draft", "number": None, "revision": None,
        "findings": [{"id": "acidity.ph.N", "topic": "acidity", "title": "Soil pH 5.1",
                      "place": {"id": "N", "label": "north", "depth": None}, "value": 5.1,
                      "unit": "pH", "status": "low", "severity": 2, "confidence": "high",
                      "evidence_grade": "measured"}],
        "actions": [action("lime.lime.n", "lime", 100.0), action("measure.dig", "measure", None)],
        "budget": {"printed": {"total": 100.0, "actions": {"lime.lime.n": 100.0},
                               "whole_packages": 0.0, "saved_together": 0.0},
                   "limit": 500.0, "currency": "USD", "chosen": ["lime.lime.n", "measure.dig"],
                   "left_out": [], "undecided": [], "deferred": []},
        "orders": [{"material": "aglime", "pass": 1, "needed_lb": 8000.0, "ordered_lb": 8000.0,
                    "left_over_cost": 0.0}],
        "tests": [soil()],
        "monitoring": [{"due": "2026-10-14", "what": "Test soil pH again", "success": "it rose",
                        "action": "lime.lime.n"}],
        "history": None,
    }
    return {**made, **changes}


def action(name: str, kind: str, cost: float | None) -> dict:
    return {"id": name, "rank": 1, "kind": kind, "title": name, "optional": False,
            "material": None, "rate": 1.5, "rate_unit": "ton/ac", "own": None, "area": 20.0,
            "total": 30.0, "total_unit": "ton", "cost_total": cost, "when": None,
            "where": "north", "place": {"id": "N", "label": "north", "depth": None}}


def soil(date: str = "2025-09-01", place: str = "N", cores: int | None = 20,
         method: str = "water 1:1", lab: str = "Millrace", **results: float | str) -> dict:
    """A soil test of one zone, 0-6 in: ``ph=5.1`` and what else was measured."""
    results = results or {"ph": 5.1}
    units = {"ph": "pH", "organic_matter": "%", "ec": "dS/m"}

    def result(name, value):
        made = {"value": float(str(value).lstrip("<")), "unit": units.get(name, "ppm"),
                "method": method if name == "ph" else f"{name} method"}
        return made | ({"censor": "<"} if str(value).startswith("<") else {})

    return {"kind": "soil", "id": place, "place": place, "label": "north", "date": date,
            "lab": lab, "cores": cores, "layers": [
                {"depth": [0.0, 6.0], "main": True,
                 "results": {name: result(name, value) for name, value in results.items()}}]}


def issued(number: str, revision: int = 1, **changes) -> dict:
    return advisory(**{"status": "issued", "number": number, "revision": revision, **changes})


def write(folder: Path, *made: dict) -> Path:
    """Write data into a folder, one file each."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(made):
        text = json.dumps(data, indent=2)
        (folder / f"{number}-{data['case_id']}.json").write_text(text, encoding="utf-8")
    return folder
