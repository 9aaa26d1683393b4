"""The three samples, worked out once for all tests that only read them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from loambrief import pipeline
from loambrief.case.load import load_case
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
