"""How long the two documents are: a limit for the advisory, no page nearly empty.

The limits are our own rule: an advisory that is acted on has five pages for one zone, the
signatures included, and one more for each further zone. Where the case asks for a plan of
several years and for check strips, these take one more; so may Spanish, which runs longer.
"""

from __future__ import annotations

import io

import pypdf
import pytest
from pagecheck import blank, read, used
from sample_reports import CASES, ROOT

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.errors import CaseProblems
from loambrief.render.pdf import render_pdf
from loambrief.report.annex import advisory_alone
from loambrief.topics.judge import judged_places

FIELDS = {**CASES, **{p.stem: p for p in ROOT.glob("sample_inputs/three_fields_indiana/*.yaml")},
          **{p.parent.name: p for p in sorted(ROOT.glob("tests/scenarios/*/case.yaml"))}}
ONE_ZONE, MORE = 5, 1
"""Pages for one zone, and for each further one."""
LEAST_FULL, MOST_BLANK = 1 / 3, 1 / 4
"""Share of a page's height that is used at least, and of a sheet that is blank at most."""


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
        for paper in ("letter", "a4"):
            try:
                loaded = load_case(FIELDS[name], language=language, paper=paper)
            except CaseProblems:
                return  # a scenario about a case that is refused
            advice = pipeline.advise(loaded)
            model = advisory_alone(pipeline.report_model(advice))
            count = pages(render_pdf(model))
            assert count <= limit(loaded.case) + (language == "es"), (language, paper, count)


ANNEXES = [("en", name) for name in FIELDS] + [("es", name) for name in CASES]


@pytest.mark.parametrize("language, name", ANNEXES)
def test_no_page_is_nearly_empty(language, name):
    """ensures that both documents of every sample and scenario use more than a third of each page,
    the last and the signatures' one too, and leave no quarter of a sheet blank, in a half of it
    neither; page 1 of a field of which little is known may."""
    try:
        made = pipeline.render(pipeline.advise(load_case(FIELDS[name], language=language)))
    except CaseProblems:
        return  # a scenario about a case that is refused
    for kind, data in (("advisory", made.pdf), ("annex", made.annex)):
        *before, last = read(data, words=False)
        for page in before:
            assert used(page) > LEAST_FULL, (kind, page.number)
            first = kind == "advisory" and page.number == 1
            assert first or blank(page, False) < MOST_BLANK, (kind, page.number)
        assert used(last) > LEAST_FULL or not before, (kind, "last")
        assert blank(last, True) < MOST_BLANK, (kind, "last")
