"""No number is printed with more digits than its range supports."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from sample_reports import advised

from loambrief import numbers, pipeline
from loambrief.report.chart_text import chart_words
from loambrief.report.context import Context
from loambrief.report.plan_behind import said_once
from loambrief.report.text import Writer

TESTS = Path(__file__).parents[1]
NAMES = tuple(sorted(p.parent.name for p in TESTS.glob("scenarios/*/case.yaml")
                     if "refused:" not in (p.parent / "expect.yaml").read_text("utf-8")))
NUMBER = re.compile(r"(?<![\d.,])\d[\d,]*(?:\.\d+)?")
FINEST_SHARE = 50.0
"""A last digit that stands for less than this part of half the range says nothing."""
TOLD = ("amount", "value", "share", "difference", "low", "high", "rate")


def advice(name):
    return advised(TESTS / "scenarios" / name / "case.yaml")


def ranged(found):
    """Messages about a range of errors, with its ends."""
    ends = {(f.low, f.high) for f in found.diagnosis.findings if f.low is not None}
    ends |= {(a.need.low, a.need.high) for a in found.plan.actions
             if a.need.low is not None and not a.need.printed_span}
    for finding in found.diagnosis.findings:
        for message in (finding.title, *finding.body, *(e.text for e in finding.evidence),
                        *(n.text for n in finding.needs)):
            pair = message.params.get("low"), message.params.get("high")
            if isinstance(pair[0], float) and pair in ends and pair[0] < pair[1]:
                yield message, pair


def too_fine(text, value, ends):
    """Numbers of a text that are the value, written finer than its range bears."""
    half = (ends[1] - ends[0]) / 2.0
    for found in NUMBER.findall(text):
        number = float(found.replace(",", ""))
        digits = len(found.partition(".")[2])
        if abs(number - abs(value)) <= 0.5 * 10.0 ** -digits + 1e-9 and (
                10.0 ** -digits <= half / FINEST_SHARE * (1 - 1e-6)) and digits > 0:
            yield found


@pytest.mark.parametrize("name", NAMES)
def test_sentences_are_no_finer_than_their_range(name):
    """ensures that value and ends of a range have no digit that the range makes empty."""
    found = advice(name)
    writer = Writer()
    for message, ends in ranged(found):
        text = writer.write(message)
        for key in TOLD:
            value = message.params.get(key)
            if isinstance(value, float):
                assert not list(too_fine(text, value, ends)), (message.key, text)


def test_some_sentence_is_about_a_range():
    """ensures that the check above looks at sentences of several topics."""
    topics = {m.topic for n in NAMES for m, _ in ranged(advice(n))}
    assert {"acidity", "salinity", "compaction"} <= topics


@pytest.mark.parametrize(("value", "low", "high", "printed"), [
    (54.3, 19.0, 102.0, "54"), (81.8, 53.0, 97.0, "82"), (1.9, 1.1, 2.7, "1.9"),
    (0.347, 0.097, 0.6, "0.35"), (542.0, 440.0, 640.0, "540"), (7.0, 5.3, 9.2, "7"),
    (2.38, 1.9, 2.9, "2.4"), (12.0, 12.0, 12.0, "12"), (12.34, None, None, "12.3"),
])
def test_digits_follow_the_range(value, low, high, printed):
    """ensures that the last digit stands for a fifth to a fiftieth of half the range (own rule)."""
    assert numbers.figures(value, within=(low, high)) == printed


def test_stated_digits_are_the_most():
    """ensures that a wide range takes digits away from a sentence and never adds one."""
    assert numbers.figures(5.93, 1, within=(1.3, 9.2)) == "5.9"
    assert numbers.figures(5.93, 1, within=(0.0, 60.0)) == "6"
    assert numbers.figures(5.93, 0, within=(5.92, 5.94)) == "6"
    assert numbers.quantity(54.3, "lb/ac", "si", within=(19.0, 102.0)) == "61\u00a0kg/ha"


@pytest.mark.parametrize("name", NAMES)
def test_a_range_that_is_known_is_the_reading_s(name):
    """ensures that the printed reading keeps the range of its title, or of a share of counts."""
    for finding in advice(name).diagnosis.findings:
        told = finding.title.params
        if finding.value is not None and told.get("value") == finding.value and "low" in told:
            assert (finding.low, finding.high) == (told["low"], told["high"]), finding.id
        for result in finding.results:
            counted = {"over", "n", "low", "high"} <= set(result.details)
            if result.value == finding.value and counted:
                assert finding.low is not None and finding.high is not None, finding.id


def test_a_rate_without_its_range_says_why():
    """ensures that a sample of unstated cores is named where its rates have no range."""
    loaded = pipeline.load_case(TESTS / "scenarios" / "whole_loads_three_zones" / "case.yaml")
    first, *others = loaded.case.samples
    samples = [first.model_copy(update={"cores": None}), *others]
    unstated = replace(loaded, case=loaded.case.model_copy(update={"samples": samples}))

    def once(of):
        made, writer = pipeline.advise(of), Writer()
        return said_once(Context(made.loaded, made.diagnosis, made.plan, (), writer,
                                 chart_words(writer)))

    assert f"not stated for {first.id}." in once(unstated)
    assert "not stated" not in once(loaded)
