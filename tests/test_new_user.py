"""What somebody sees who does not know the program yet: odd terminals, files and arguments."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from loambrief.agronomy import topics  # noqa: F401  (registers the formulas)
from loambrief.agronomy.arguments import fitted
from loambrief.agronomy.registry import FORMULAS
from loambrief.cli import main
from loambrief.errors import LoambriefError

SAMPLES = Path(__file__).parents[1] / "sample_inputs"
CASE = SAMPLES / "acid_corn_ohio" / "case.yaml"
PROGRAM = [sys.executable, "-m", "loambrief.cli"]


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def outside(*arguments, **more):
    """The program in a process of its own."""
    environment = {**os.environ, **more.pop("env", {})}
    return subprocess.run([*PROGRAM, *arguments], env=environment, timeout=60,
                          check=False, capture_output="stdout" not in more, **more)


@pytest.mark.parametrize("group", [[], ["archive"], ["keys"]])
def test_list_of_commands_is_whole(group):
    """ensures that no line of a list of commands is cut off."""
    shown = run(*group, "--help").output
    assert len(shown.splitlines()) > 5 and "..." not in shown.partition("Commands:")[2]


def test_reader_that_leaves_gets_no_complaint():
    """ensures that 'calc | head -1' says nothing more, and does not look like a bad case."""
    child = subprocess.Popen([*PROGRAM, "calc"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.close()
    assert child.stderr.read() == b"" and child.wait(30) == 141
    child.stderr.close()


def test_closed_output_is_no_fault():
    """ensures that a command without standard output works (a job without a terminal)."""
    done = subprocess.run(["/bin/sh", "-c", '"$@" >&-', "sh", *PROGRAM, "calc"],
                          capture_output=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif("not os.path.exists('/dev/full')")
def test_full_disk_is_told():
    """ensures that output that could not be written ends in exit 2, in one line."""
    with open("/dev/full", "wb") as full:
        done = outside("schema", stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_json_stays_json_on_a_terminal_without_unicode(encoding):
    """ensures that JSON is the same data whatever the terminal's encoding."""
    odd = outside("schema", env={"PYTHONIOENCODING": encoding})
    good = outside("schema", env={"PYTHONIOENCODING": "utf-8"})
    sent = "latin-1" if encoding == "latin-1" else "utf-8"
    assert json.loads(odd.stdout.decode(sent)) == json.loads(good.stdout)


def test_words_stay_readable_on_a_terminal_without_unicode(tmp_path):
    """ensures that a sign the terminal lacks becomes the nearest plain one."""
    path = tmp_path / "feld.yaml"
    path.write_text(CASE.read_text("utf-8").replace("name: East 40", "nome: Île – 40 ★"), "utf-8")
    done = outside("check", path, env={"PYTHONIOENCODING": "latin-1"})
    assert done.returncode == 1 and "nome: Île - 40 ?" in done.stdout.decode("latin-1")
    done = outside("check", path, env={"PYTHONIOENCODING": "ascii"})
    assert "nome: Île – 40 ★" in done.stdout.decode("utf-8")


def test_name_of_a_file_that_is_no_text(tmp_path):
    """ensures that a file whose name is in an old encoding can be named in a message."""
    done = outside("check", os.fsencode(tmp_path) + b"/\xcele.yaml")
    assert done.returncode == 2 and b"\\xcele.yaml" in done.stderr


def test_error_of_the_program_is_named_as_one(monkeypatch):
    """ensures that an unforeseen error is one line, exit 2, and can be shown whole."""
    @click.command()
    def faulty():
        raise ZeroDivisionError("by nought")

    monkeypatch.setitem(main.commands, "calc", faulty)
    monkeypatch.setattr(type(main), "get_command", lambda self, ctx, name: faulty)
    monkeypatch.delenv("LOAMBRIEF_TRACE", raising=False)
    result = run("calc")
    assert result.exit_code == 2 and "an error of the program" in result.stderr
    assert "by nought, test_new_user.py:" in result.stderr and "Traceback" not in result.stderr
    monkeypatch.setenv("LOAMBRIEF_TRACE", "1")
    assert isinstance(run("calc").exception, ZeroDivisionError)


def test_ctrl_c_is_told_with_the_usual_code(monkeypatch):
    """ensures that an interrupted command ends with 130, not with the code of a bad case."""
    @click.command()
    def slow():
        os.kill(os.getpid(), signal.SIGINT)
        signal.pause()

    monkeypatch.setattr(type(main), "get_command", lambda self, ctx, name: slow)
    result = run("calc")
    assert result.exit_code == 130 and result.stderr == "\nloambrief: interrupted\n"


@pytest.mark.parametrize("typed, said", [
    (["adf_pct=34", "ndf_pct=x"], 'ndf_pct: found "x", wanted a number'),
    (["adf_pct=3,4", "ndf_pct=true"], "ndf_pct: found true, wanted a number"),
])
def test_formula_names_every_value_of_the_wrong_kind(typed, said):
    """ensures that a decimal comma or a word is answered, all of them at once."""
    result = run("calc", "relative_feed_value", *typed)
    assert result.exit_code == 1 and said in result.stderr
    assert result.stderr.count("wanted") == len(typed) - ("x" in typed[1])


@pytest.mark.parametrize("value", ["x", True, {}, [], [1.0, 2.0], ["x"], {"a": "b"}, 0.0, 1e9])
def test_no_formula_breaks_on_what_is_typed(value):
    """ensures that each formula answers or refuses, whatever kind of value it is given."""
    for formula in FORMULAS.values():
        values = dict.fromkeys(formula.signature.parameters, value)
        try:
            formula.evaluate(**fitted(formula.signature, values))
        except LoambriefError as error:
            assert str(error)
