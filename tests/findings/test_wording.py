"""Rules of wording and of needs that hold for every topic, over the sample cases."""

import re
from pathlib import Path

import pytest

from findings.field_cases import WRITERS
from loambrief.case.load import load_case
from loambrief.findings.model import STUDIES, Grade, NeedKind, Status
from loambrief.topics.assess import assess

ROOT = Path(__file__).parents[2] / "sample_inputs"
CASES = ("acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey")
VERBS = re.compile(r"^(the trade (wants|reads)|roots |100 is|corn and wheat |none |low below)")


@pytest.fixture(scope="module", params=CASES)
def said(request):
    case = load_case(ROOT / request.param / "case.yaml").case
    return case, assess(case).findings


def test_titles_read_well_with_a_place(said):
    """ensures one colon, no nested brackets, no Latin name and no sample id in a title."""
    case, findings = said
    latin = {w.species for w in case.weeds if w.local_name}
    ids = {s.id for s in case.samples if s.place}
    for finding in findings:
        title = WRITERS["us"].write(finding.title)
        assert not re.search(r"\([^()]*\([^()]*\)", title), title
        assert len(re.findall(r": ", title)) <= 1 or finding.topic == "weeds", title
        assert not any(name in title for name in latin) or finding.topic == "weeds", title
        assert not any(re.search(rf"\b{i}\b", title) for i in ids), title


def test_references_follow_a_value(said):
    """ensures that what a value is held against is a noun phrase, not a sentence."""
    for finding in said[1]:
        if finding.reference is None or finding.topic == "weeds":
            continue
        text = WRITERS["us"].write(finding.reference)
        assert text and not text.endswith("."), text
        assert not VERBS.match(text), text


def test_nothing_is_managed_for_a_finding_that_says_nothing(said):
    """ensures that a measure rests on a finding of some weight."""
    for finding in said[1]:
        if finding.severity == 0 or finding.status is Status.NOTED:
            assert not [n for n in finding.needs if n.kind is NeedKind.MANAGE], finding.id


def test_literature_is_not_called_measured(said):
    """ensures that others' work is graded as published, names its kind, and never as a reading."""
    _, findings = said
    published = [e for f in findings for e in f.evidence if e.grade is Grade.PUBLISHED]
    assert published and all(e.sources for e in published)
    assert {kind for e in published for kind in e.kinds} <= set(STUDIES)
    assert all(e.grade is Grade.PUBLISHED for f in findings for e in f.evidence
               if e.text.name.startswith("published_") and not e.results)
    assert all(e.kinds == () for f in findings for e in f.evidence if e not in published)
