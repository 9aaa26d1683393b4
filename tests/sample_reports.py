"""Samples and scenarios, worked out once for all tests that only read them."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import yaml

from loambrief import pipeline
from loambrief.case.load import LoadedCase, load_case
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import AnnexFile, ReportModel

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
def rendered(name: str, units: str = "us", paper: str = "letter",
             language: str = "en") -> pipeline.Advisory:
    """The two documents of a sample and its data."""
    return pipeline.render(advice(name, units, paper, language))


@cache
def pdf(name: str, units: str = "us", paper: str = "letter", language: str = "en") -> bytes:
    """A sample on paper, its annex at the end."""
    return render_pdf(report(name, units, paper, language))


@cache
def read(path: Path, language: str = "en") -> LoadedCase:
    """The case of any field, in a language."""
    return load_case(path, language=language)


@cache
def advised(path: Path, language: str = "en") -> pipeline.Advice:
    """Findings and plan of any field, to be written in a language: they are the same in each."""
    if language != "en":
        return replace(advised(path), loaded=read(path, language))
    return pipeline.advise(read(path))


@cache
def written(path: Path, language: str = "en") -> tuple[pipeline.Advice, ReportModel]:
    """Advice and report model of any field, in a language; its annex is a file of its own."""
    made, stage = advised(path, language), pipeline._Standing()
    annex = AnnexFile(pipeline.annex_name(made.loaded.case.case.id), "0" * 64)
    draft = pipeline._draft(made, stage, annex.name)
    return made, pipeline._finished(made, draft, stage, annex)[0].model


CUTS = (r"(?:penetrometer|infiltration|refractometer|residue):\n(?:  .*\n|\n)+",
        r"  - id: (?:tsp|gypsum|litter|ripper|rye)\n(?:    .*\n)+",
        r"      - depth: 0-2 in\n(?:        .*\n)+", r"  - \{species: (?!Setaria).*\n")
SECOND = (r"  - id: S\n(?:    .*\n)+", r"  - code: .*\n    field: amendment.lime.S\n.*\n")


def short_text(zones: int = 1) -> str:
    """The Ohio sample with one depth, one weed and one zone, or both: half of the pages, every
    kind of document, complete enough to be issued."""
    text = CASES["acid_corn_ohio"].read_text(encoding="utf-8")
    for pattern in CUTS if zones == 2 else CUTS + SECOND:
        text, found = re.subn(f"^{pattern}", "", text, flags=re.MULTILINE)
        assert found, pattern
    return text if zones == 2 else text.replace("  area: 42 ac", "  area: 24 ac")


def short_case(**header: str) -> str:
    """:func:`short_text` with its header changed.

    Parameters
    ----------
    **header : str
        Put into ``case``.
    """
    data = yaml.safe_load(short_text())
    data["case"] |= {"question": "what_first"} | header
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True)
