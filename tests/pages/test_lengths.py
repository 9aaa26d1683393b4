"""How long the two documents are: a limit for the advisory, no page nearly empty.

The limits are our own rule: an advisory that is acted on has five pages for one zone, the
signatures included, and one more for each further zone. Where the case asks for a plan of
several years and for check strips, these take one more.
"""

from __future__ import annotations

from dataclasses import replace

import pypdfium2 as pdfium
import pytest
from pagecheck import blank, read, used
from sample_reports import CASES, ROOT, advised

from loambrief import pipeline
from loambrief.errors import CaseProblems
from loambrief.render.pdf import paginated
from loambrief.report.annex import advisory_alone
from loambrief.report.blocks import Paper
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


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", FIELDS)
def test_documents_are_short_and_their_pages_full(name, language, monkeypatch):
    """ensures that the advisory of every sample and scenario keeps to the limit of its zones, on
    both papers and in both languages, and that neither it nor the annex has a page that is nearly
    empty: each uses more than a third, the last and the signatures' one too, and none leaves a
    quarter of a sheet blank, nor half of its left or right half; page 1 of a field of which little
    is known may."""
    try:
        advice = advised(FIELDS[name], language)
    except CaseProblems:
        return  # a scenario about a case that is refused
    alone = []
    monkeypatch.setattr(pipeline, "advisory_alone",
                        lambda model: alone.append(advisory_alone(model)) or alone[0])
    case, made = advice.loaded.case, pipeline.render(advice)
    own = Paper(case.case.paper)
    other = replace(alone[0], paper=next(p for p in Paper if p is not own))
    most = limit(case)
    with pdfium.PdfDocument(made.pdf) as document:
        assert len(document) <= most
    assert paginated(other).page_count() <= most
    for kind, data in (("advisory", made.pdf), ("annex", made.annex)):
        *before, last = read(data, words=False, whole=False)
        for page in before:
            assert used(page) > LEAST_FULL, (kind, page.number)
            first = kind == "advisory" and page.number == 1
            assert first or blank(page, False) < MOST_BLANK, (kind, page.number)
        assert used(last) > LEAST_FULL or not before, (kind, "last")
        assert blank(last, True) < MOST_BLANK, (kind, "last")
