"""Samples and scenarios, worked out once for all tests that only read them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import yaml

from loambrief import pipeline
from loambrief.case.load import LoadedCase, load_case
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import ReportModel

ROOT = Path(__file__).parents[1]
CASES = {p.parent.name: p for p in sorted((ROOT / "sample_inputs").glob("*/case.yaml"))}


@cache
def advice(name: str, units: str = "us", paper: str = "letter",
           language: str = "en") -> pipeline.Advice:
    """Findings and plan of a sample."""
    return pipeline.advise(load_case(CASES[name], units=units, paper=paper, language=language))


@cache
def report(name: str, units: str = "us", paper: str = "letter",
           language: str = "en") -> ReportModel:
    """Report model of a sample."""
    return pipeline.report_model(advice(name, units, paper, language))


@cache
def pdf(name: str, units: str = "us", paper: str = "letter", language: str = "en") -> bytes:
    """A sample on paper."""
    return render_pdf(report(name, units, paper, language))


@cache
def read(path: Path, language: str = "en") -> LoadedCase:
    """The case of any field, in a language."""
    return load_case(path, language=language)


@cache
def advised(path: Path, language: str = "en") -> pipeline.Advice:
    """Findings and plan of any field, in a language."""
    return pipeline.advise(read(path, language))


@cache
def written(path: Path, language: str = "en") -> tuple[pipeline.Advice, ReportModel]:
    """Advice and report model of any field, in a language."""
    made = advised(path, language)
    return made, pipeline.report_model(made)


def short_case(**header: str) -> str:
    """The Ohio sample with one zone, one depth and one weed: a third of the pages, every kind
    of document, complete enough to be issued.

    Parameters
    ----------
    **header : str
        Put into ``case``.
    """
    data = yaml.safe_load(CASES["acid_corn_ohio"].read_text(encoding="utf-8"))
    for key in ("penetrometer", "infiltration", "refractometer", "residue"):
        del data[key]
    del data["samples"][1:], data["samples"][0]["increments"][0], data["weeds"][1:]
    data["field"]["area"] = data["samples"][0]["area"]
    data["materials"] = [m for m in data["materials"] if m["id"] in ("aglime", "map", "potash")]
    data["accept"] = [a for a in data["accept"] if a["field"] != "amendment.lime.S"]
    data["case"] |= {"question": "what_first"} | header
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True)
