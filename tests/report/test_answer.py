"""The answer to the grower's question: by its key, from findings, never a guess."""

from dataclasses import replace
from pathlib import Path

import pytest

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.case.schema import QUESTIONS
from loambrief.errors import CaseProblems
from loambrief.findings.model import Grade, Status
from loambrief.report.answer import ANSWERS, TOPICS_OF, answer
from loambrief.report.text import Writer

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_inputs"
FIELDS = ROOT / "tests" / "scenarios"


def advised(path):
    return pipeline.advise(load_case(path))


@pytest.fixture(scope="module")
def ohio():
    return advised(SAMPLES / "acid_corn_ohio" / "case.yaml")


def asked(advice, **header):
    """The answer of a case with another header."""
    case = advice.loaded.case
    case = case.model_copy(update={"case": case.case.model_copy(update=header)})
    return answer(case, advice.diagnosis, advice.plan)


def text(said, language="en"):
    writer = Writer(language, "us", "USD")
    return " ".join(writer.write(m) for m in said.messages)


def test_each_key_has_its_answer():
    """ensures that no kind of question is listed without something that answers it."""
    assert set(QUESTIONS) == {*ANSWERS, *TOPICS_OF, "other"}


@pytest.mark.parametrize("key", QUESTIONS)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_kind_is_answered_from_known_findings(ohio, key, language):
    """ensures that each kind of question gets words in both languages, and an answer rests on
    findings of the case.
    """
    said = asked(ohio, question=key)
    assert text(said, language)
    assert set(said.basis) <= {f.id for f in ohio.diagnosis.findings}
    assert said.basis or not said.answered


def test_an_answer_rests_on_all_that_is_watched():
    """ensures that the answer names every finding that limits or is watched as its basis, not
    only the gravest."""
    utah = advised(SAMPLES / "saline_alfalfa_utah" / "case.yaml")
    found = [f for f in utah.diagnosis.findings
             if f.topic == "salinity" and f.severity and f.status is not Status.UNCERTAIN
             and f.grade is not Grade.PRACTICE]
    assert len({f.severity for f in found}) > 1
    assert {f.id for f in found} <= set(asked(utah, question="is_it_salt").basis)


def test_words_of_the_question_decide_nothing(ohio):
    """ensures that a question without a key stays open, whatever it says."""
    said = asked(ohio, question=None, purpose="Lime or gypsum?")
    assert (said.answered, said.key, said.basis) == (False, None, ())
    assert "adviser" in text(said)


def test_nothing_asked_gets_no_answer(ohio):
    """ensures that page 1 answers no question that nobody asked."""
    said = asked(ohio, question=None, purpose=None)
    assert (said.asked, said.key, said.messages) == (None, None, ())


def test_the_advisers_own_answer_stands_first(ohio):
    """ensures that the adviser's words are printed as theirs, in place of the findings'."""
    said = asked(ohio, answer="Wait for the spring test")
    assert said.answered and text(said).startswith("Wait for the spring test. (")
    assert "own answer" in text(said)


def test_weeds_are_signs_beside_their_measurement(ohio):
    """ensures that why_weeds names the measured value that agrees, and no cause without one."""
    assert "pH 5.1 to 5.6" in text(asked(ohio, question="why_weeds"))
    bare = advised(FIELDS / "weeds_and_brix_only" / "case.yaml")
    said = asked(bare)
    assert not said.answered and "soil test" in text(said)


def test_lime_is_judged_against_the_noise():
    """ensures that did_lime_work gives both values and the noise, and stays open without them."""
    worked = advised(FIELDS / "did_the_lime_work" / "case.yaml")
    told = text(asked(worked))
    assert "5.6 to 6.3" in told and "noise of 0.4" in told
    alone = replace(worked, diagnosis=replace(worked.diagnosis, history=None))
    said = asked(alone)
    assert not said.answered and said.messages[0].key == "answers.lime_unknown"


@pytest.mark.parametrize(("field", "answered", "words"), [
    ("lime_or_gypsum_clay", True, "Lime: needed"),
    ("lentil_no_rule", False, "Not judged"),
    ("nothing_measured", False, "soil test comes first"),
    ("dry_cone_readings", False, "dry soil"),
    ("compost_against_acid_soil", True, "needs lime"),
    ("maintenance_potash_optional", True, "may be left out: phosphorus and potassium"),
])
def test_answers_of_whole_fields(field, answered, words):
    """ensures that the verdicts decide the answer of whole fields."""
    said = asked(advised(FIELDS / field / "case.yaml"))
    assert said.answered is answered
    assert words.lower() in text(said).lower()


def test_an_answer_needs_its_question(tmp_path):
    """ensures that an adviser's answer without a question is refused where it is wanted."""
    source = (SAMPLES / "acid_corn_ohio" / "case.yaml").read_text(encoding="utf-8")
    lines = [x for x in source.splitlines(keepends=True)
             if not x.startswith(("  purpose:", "  question:"))]
    lines.insert(lines.index("case:\n") + 1, "  answer: Not this year.\n")
    path = tmp_path / "case.yaml"
    path.write_text("".join(lines), encoding="utf-8")
    with pytest.raises(CaseProblems) as error:
        load_case(path)
    assert [(p.code, p.field) for p in error.value.problems] == [("CASE021", "case.purpose")]
