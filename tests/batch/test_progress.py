"""What a run shows: a bar on a terminal, plain lines elsewhere, nothing if told so."""

import io
import re

import pytest
from batch_fakes import run, write_case

from loambrief.batch.progress import Bar, PlainLines, Progress, duration, pace, progress_for
from loambrief.batch.run_report import failure_table, headline
from loambrief.batch.work import CaseOutcome, CaseStatus


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self):
        return True


GOOD, BAD = CaseOutcome(0, "a.yaml", CaseStatus.DONE), CaseOutcome(1, "b.yaml", CaseStatus.FAILED)


def plain(stream):
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", stream.getvalue())


def test_where_the_words_go_decides():
    """ensures a bar on a terminal, lines in a pipe, nothing when quiet."""
    assert isinstance(progress_for(Terminal(), quiet=False), Bar)
    assert isinstance(progress_for(io.StringIO(), quiet=False), PlainLines)
    assert type(progress_for(Terminal(), quiet=True)) is Progress


def test_bar_over_both_stages(monkeypatch):
    """ensures that the bar counts each stage for itself, names failures, and ends twice."""
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("TERM", "xterm")
    stream = Terminal()
    bar = Bar(stream)
    for stage, total in (("check", 3), ("make", 2), ("make", 0)):
        bar.begin(stage, total)
        for outcome in (BAD, GOOD, GOOD)[:total]:
            bar.step(outcome)
        bar.end()
        bar.end()
    bar.say("a line [not markup]")
    text = plain(stream)
    assert "checking (1 failed)" in text and "3/3" in text
    assert "making (1 failed)" in text and "2/2" in text
    assert "a line [not markup]" in text


def test_lines_now_and_then():
    """ensures a line every ten seconds and one at the end, with rate and remaining time."""
    now = [0.0]
    stream = io.StringIO()
    lines = PlainLines(stream, clock=lambda: now[0])
    lines.begin("make", 40)
    for number in range(40):
        now[0] += 0.5
        lines.step(BAD if number == 3 else GOOD)
    lines.end()
    lines.end()
    assert stream.getvalue().splitlines() == [
        "making: 20 of 40, 1 failed, 2.0/s, 10 s left",
        "making: 40 of 40, 1 failed, 2.0/s",
        "making: 40 of 40, 1 failed, 2.0/s",
    ]


@pytest.mark.parametrize(("seconds", "words"), [
    (4.26, "4.3 s"), (45, "45 s"), (180, "3 min"), (7500, "2 h 05 min"), (33_420, "9 h 17 min")])
def test_durations(seconds, words):
    """ensures that times are said as one would say them."""
    assert duration(seconds) == words


def test_nothing_is_said_before_it_is_known():
    """ensures that no rate is given before the first case."""
    assert pace(0, 10, 5.0) == ("", "") and pace(1, 10, 0.0) == ("", "")


@pytest.mark.parametrize("stream", [Terminal, io.StringIO])
def test_table_of_failures(tmp_path, stream, monkeypatch):
    """ensures that each failed case stands there with its reason, and the line above adds up."""
    monkeypatch.setenv("COLUMNS", "200")
    cases = [write_case(tmp_path / "in", name, do=do)
             for name, do in (("a", ""), ("b", "bad"), ("c", "raise"))]
    month = run(cases, tmp_path / "out")
    assert headline(month) == "3 cases: 1 made, 0 unchanged, 2 failed"
    out = stream()
    failure_table(month, out)
    text = plain(out)
    assert "b.yaml" in text and "wrong" in text and "the bottom fell out" in text
    assert "a.yaml" not in text
