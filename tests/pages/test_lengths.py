"""How long the two documents are: a limit for the advisory, no empty pages in the annex.

The limits are our own rule: an advisory that is acted on has five pages for one zone, the
signatures included, and one more for each further zone. Where the case asks for a plan of
several years and for check strips, these take one more; so may Spanish, which runs longer.
"""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest
from pagecheck import BOTTOM, TOP, read
from sample_reports import CASES, ROOT, written

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.errors import CaseProblems
from loambrief.render.pdf import render_pdf
from loambrief.report.annex import advisory_alone
from loambrief.report.blocks import Paper
from loambrief.topics.judge import judged_places

FIELDS = {**CASES, **{p.stem: p for p in ROOT.glob("sample_inputs/three_fields_indiana/*.yaml")},
          **{p.parent.name: p for p in sorted(ROOT.glob("tests/scenarios/*/case.yaml"))}}
ONE_ZONE, MORE = 5, 1
"""Pages for one zone, and for each further one."""
LEAST_FULL = 1 / 3
"""Share of a page's height that is used on every page but the last."""


def limit(case) -> int:
    """Most pages of a case's advisory."""
    zones = len({place.id for place in judged_places(case)})
    asked = case.tenure is not None and case.strips is not None
    return ONE_ZONE + MORE * (max(zones - 1, 0) + asked)


def pages(data: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(data)).pages)


@pytest.mark.parametrize("name", FIELDS)
def test_an_advisory_is_short(name):
    """ensures that the advisory of every sample and scenario keeps to the limit of its zones,
    on both papers and in both languages."""
    for language in ("en", "es"):
        try:
            advice, whole = written(FIELDS[name], language)
        except CaseProblems:
            return  # a scenario about a case that is refused
        model = advisory_alone(whole)
        for paper in Paper:
            count = pages(render_pdf(replace(model, paper=paper)))
            assert count <= limit(advice.loaded.case) + (language == "es"), (language, paper, count)


@pytest.mark.parametrize("name", [*CASES, "nothing_measured", "whole_loads_three_zones"])
def test_the_annex_has_no_empty_pages(name):
    """ensures that each page of an annex but the last is used for more than a third."""
    made = pipeline.render(pipeline.advise(load_case(FIELDS[name])))
    for page in read(made.annex, words=False)[:-1]:
        room = page.height - TOP - BOTTOM
        lowest = min(p.box[1] for p in page.content if p.tag)
        assert (page.height - TOP - lowest) / room > LEAST_FULL, page.number
