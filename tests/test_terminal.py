"""The terminal: hints after an advisory, the doctor, completion, and misspelt commands."""

import dataclasses
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from loambrief import doctor
from loambrief.agronomy.selftest import KINDS
from loambrief.cli import COMMANDS, main
from loambrief.cli.advise import show
from loambrief.errors import TableFault
from loambrief.pipeline import Brief

BRIEF = Brief("Pruett & Daughters, [East] 40", (
    (1, "Lime: 1.75 ton/ac of a rather long material name, delivered [north]", "$1,518"),
    (2, "Keep wheels in the same lanes: headland", "no price")), "plan: $4,721 of $9,000", 2)
CASE = Path(__file__).parents[1] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self):
        return True


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.mark.parametrize("columns", ["20", "40", "200"])
@pytest.mark.parametrize("colour", [{}, {"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_hints_hold_at_every_width(monkeypatch, columns, colour):
    """ensures that nothing is cut off on a narrow terminal, with and without colour."""
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in colour.items():
        monkeypatch.setenv(name, value)
    stream = Terminal()
    show([BRIEF], [Path("output/ein Ort/é.pdf")], stream)
    text = stream.getvalue()
    plain = "".join(text.replace("\x1b[1m", "").replace("\x1b[0m", "").split())
    for word in ("rather", "longmaterialname"[:4], "$1,518", "[East]40", "$4,721", "2warnings"):
        assert word in plain, text
    assert "output/einOrt/é.pdf" in plain
    if colour.get("TERM") == "dumb":
        assert "\x1b[3" not in text


def test_names_are_printed_as_they_are(monkeypatch):
    """ensures that neither brackets nor colons in a name turn into colours or pictures."""
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("NO_COLOR", "1")
    stream = Terminal()
    name = "Lot :maple_leaf: [red]7[/red]"
    show([dataclasses.replace(BRIEF, title=name)], [Path("out:maple_leaf:[b]/a.pdf")], stream)
    lines = [line.replace("\x1b[1m", "").replace("\x1b[0m", "").strip()
             for line in stream.getvalue().splitlines()]
    assert lines[:2] == ["", name] and "out:maple_leaf:[b]/a.pdf" in lines


def test_hints_are_plain_lines_in_a_pipe():
    """ensures that a pipe gets one line an action and one a file, without codes."""
    stream = io.StringIO()
    show([BRIEF], [Path("a.pdf")], stream)
    assert stream.getvalue().splitlines()[-1] == "wrote a.pdf"
    assert len(stream.getvalue().splitlines()) == 5 and "\x1b" not in stream.getvalue()


def test_doctor_finds_this_installation_whole():
    """ensures that every check passes here, kept answers included."""
    result = run("doctor", "--json")
    facts = {f["name"]: f for f in json.loads(result.stdout)}
    assert result.exit_code == 0, result.output
    assert {name for name in facts if not name.startswith("settings ")} == {
                          "loambrief", "python", "libraries", "optional parts", "wording",
                          "typeface", "tables", "page", "temporary files", "kept answers"}
    assert all(f["good"] is not False for f in facts.values())
    assert all(words in facts["kept answers"]["found"] for words in KINDS.values())


def test_doctor_names_what_is_wrong(monkeypatch):
    """ensures that a damaged table, a missing sign and an old library are each found."""
    def damaged(name):
        raise TableFault(f"{name}: column sum")

    monkeypatch.setattr("loambrief.tables.load", damaged)
    monkeypatch.setattr(doctor, "SIGNS", doctor.SIGNS + "\u4e2d")
    monkeypatch.setattr(doctor.metadata, "requires", lambda name: ["click>=999", "no-such-thing"])
    facts = {f.name: f for f in doctor.examine(answers=False)}
    assert [facts[n].good for n in ("tables", "typeface", "libraries")] == [False] * 3
    assert "click" in facts["libraries"].found and "no-such-thing missing" in facts[
        "libraries"].found
    assert "\u4e2d" in facts["typeface"].help and facts["page"].good


def test_doctor_ends_with_one_when_something_is_wrong(monkeypatch):
    """ensures that a script can tell."""
    monkeypatch.setattr(doctor, "OLDEST_PYTHON", (99, 0))
    monkeypatch.setattr(doctor, "_answers", lambda: doctor.Checked("answers", True, ""))
    result = run("doctor")
    assert result.exit_code == 1 and "WRONG python" in result.output


@pytest.mark.parametrize("shell, word", [("bash", "complete -o"), ("zsh", "#compdef loambrief"),
                                         ("fish", "complete --no-files")])
def test_completion_scripts(shell, word):
    """ensures that each shell gets a script of its own kind."""
    result = run("completion", shell)
    assert result.exit_code == 0 and word in result.output and "loambrief" in result.output


def test_completion_completes():
    """ensures that the words after Tab are the commands of this program."""
    done = subprocess.run(
        [sys.executable, "-c", "from loambrief.cli import main; main(prog_name='loambrief')"],
        env={**os.environ, "_LOAMBRIEF_COMPLETE": "bash_complete", "COMP_WORDS": "loambrief ad",
             "COMP_CWORD": "1"}, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["plain,advise"]


def test_every_command_has_help_with_an_example():
    """ensures that every command, and every command of a group, shows how it is used."""
    def each(command, path):
        if hasattr(command, "list_commands") and path:
            for name in command.list_commands(None):
                yield from each(command.get_command(None, name), [*path, name])
        else:
            yield command, path

    for name in COMMANDS:
        for command, path in each(main.get_command(None, name), [name]):
            assert f"loambrief {' '.join(path)}" in (command.help or ""), path
            assert command.help.strip().splitlines()[0].endswith("."), path
            for option in command.params:
                assert option.param_type_name == "argument" or option.help, (path, option.name)


def test_misspelt_command_is_answered():
    """ensures that the nearest command is named, exit 2."""
    result = run("advize", "x.yaml")
    assert result.exit_code == 2 and "did you mean 'advise'" in result.stderr
    assert run("zzz").exit_code == 2


@pytest.mark.parametrize("environment", [{"LC_ALL": "C"}, {"LC_ALL": "tr_TR.UTF-8"},
                                         {"LANG": "", "PYTHONUTF8": "0", "LC_ALL": "POSIX"},
                                         {"PYTHONIOENCODING": "ascii"}])
def test_odd_locales(tmp_path, environment):
    """ensures that the locale of the terminal changes neither the files nor the exit code."""
    path = tmp_path / "Ñandú campo" / "case file.yaml"
    path.parent.mkdir()
    text = CASE.read_text(encoding="utf-8").replace("name: East 40", "name: Île 40 İ")
    path.write_bytes(text.replace("\n", "\r\n").encode())
    done = subprocess.run(
        [sys.executable, "-m", "loambrief.cli", "check", str(path)],
        env={**os.environ, **environment}, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr
