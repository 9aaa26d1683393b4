"""The commands of the record as a user runs them."""

import json
import os
import subprocess
import sys

import pytest
from click.testing import CliRunner
from record_builders import CLIENT, NUMBER, SAMPLE, case_file, copied

from loambrief.cli import main
from loambrief.cli.archive import COMMANDS
from loambrief.cli.archive import archive as group


@pytest.fixture
def folder(first, tmp_path):
    return copied(first[0], tmp_path / "records")


def run(*args, code=0, env=None, **options):
    found = CliRunner().invoke(main, [str(a) for a in args], env=env, **options)
    assert found.exit_code == code, found.output
    return found


def archive(folder, *args, **options):
    return run("archive", *args, "--archive", folder, **options)


def data(folder, *args, **options):
    return json.loads(archive(folder, *args, "--json", **options).stdout)


def test_every_command_has_examples():
    """ensures that each command of the record shows how it is used."""
    for name, command in group.commands.items():
        assert "Examples:" in command.help, name
        assert f"loambrief archive {name}" in command.help, name
    assert group.list_commands(None) == [command.name for command in COMMANDS]


def test_issue_says_what_is_missing(folder, tmp_path):
    """ensures that an incomplete case ends with exit code 1, the places, and nothing written."""
    path = case_file(tmp_path / "case", business="", report="")
    found = run("issue", path, "--archive", folder, "-o", tmp_path / "out", code=1)
    assert f"{path}:50:1: ISSUE-BUSINESS adviser.business: found nothing" in found.output
    assert "ISSUE-LAB-REPORT" in found.output
    assert not (tmp_path / "out").exists()
    assert data(folder, "head")["seq"] == 2


def test_issue_again(folder, first, tmp_path):
    """ensures that the same case again writes the same files, and a program can read it."""
    found = json.loads(run("issue", SAMPLE, "--archive", folder, "-o", tmp_path / "out",
                           "--json").stdout)
    assert (found["number"], found["revision"], found["again"]) == (NUMBER, 1, True)
    assert (tmp_path / "out" / f"{NUMBER}-r1.pdf").read_bytes() == first[1].files[
        f"{NUMBER}-r1.pdf"]


def test_looking(folder):
    """ensures that list, find, show, head and due answer people and programs alike."""
    (row,) = data(folder, "list")
    assert (row["number"], row["client"], row["status"]) == (NUMBER, CLIENT, "issued")
    assert NUMBER in archive(folder, "list").output
    assert data(folder, "find", "--text", "foxtail", "--crop", "CORN", "--since", "2026-10-01") == [
        row]
    assert data(folder, "find", "--until", "2026-10-01") == []
    shown = data(folder, "show", NUMBER)
    assert [f["role"] for f in shown["events"][0]["files"]] == ["case", "pdf", "annex", "data"]
    assert shown["revisions"][0]["keep_until"] == "2034-04-30"
    assert "kept until 2034-04-30" in archive(folder, "show", NUMBER).output
    assert [d["kind"] for d in data(folder, "due", "--on", "2027-04-30")] == ["validity"]
    assert "nothing falls due" in archive(folder, "due", "--on", "2026-12-30").output


def test_check_and_anchor(folder):
    """ensures that a check ends with exit code 1 at a break, and finds a noted head again."""
    head = data(folder, "head")["head"]
    assert run("archive", "head", "--archive", folder).stdout == (
        f"{head}  line {data(folder, 'head')['seq']}\n")
    archive(folder, "set", "--keep", "advisory=10")
    assert data(folder, "check", "--head", head)["anchored"] == 2
    assert data(folder, "show", NUMBER)["revisions"][0]["keep_until"] == "2037-04-30"
    found = data(folder, "check", "--head", "0" * 64, code=1)
    assert [b["kind"] for b in found["breaks"]] == ["anchor"]
    pdf = next(p for p in (folder / "objects").rglob("*") if p.is_file()
               and p.read_bytes()[:4] == b"%PDF")
    pdf.write_bytes(pdf.read_bytes() + b"\n")
    output = archive(folder, "check", code=1).output
    assert f"objects/{pdf.parent.name}/{pdf.name}: tampered" in output and "NOT GOOD" in output


def test_holding_and_erasing(folder):
    """ensures that a hold stops an erasure, that erasing asks first, and that all is reported."""
    archive(folder, "hold", "--number", NUMBER, "--reason", "Claim 18-4")
    assert "[held]" in archive(folder, "list").output
    assert "hold" in archive(folder, "erase", "--client", CLIENT, "--yes", code=1).output
    archive(folder, "release", "--number", NUMBER, "--reason", "Settled")
    archive(folder, "erase", "--client", CLIENT, input="n\n", code=1)
    assert data(folder, "list")[0]["status"] == "issued"
    assert data(folder, "erase", "--client", CLIENT, "--yes", "--reason",
                "by law")["left"] == []
    assert data(folder, "list")[0]["client"] is None
    assert data(folder, "check")["good"]


def test_adding_and_rebuilding(folder, tmp_path):
    """ensures that a document joins the record, and the index is made again."""
    (tmp_path / "signed.pdf").write_bytes(b"%PDF")
    archive(folder, "add", tmp_path / "signed.pdf", "--role", "signed", "--number", NUMBER)
    before = data(folder, "show", NUMBER)
    assert before["events"][1]["files"][0]["role"] == "signed"
    assert "3 lines" in archive(folder, "rebuild").output
    assert data(folder, "show", NUMBER) == before


def test_stored_files_are_written_again(folder, first, tmp_path):
    """ensures that what was issued can be had again as it was."""
    archive(folder, "render", NUMBER, "--stored", "-o", tmp_path / "again")
    assert (tmp_path / "again" / f"{NUMBER}-r1.json").read_bytes() == first[1].files[
        f"{NUMBER}-r1.json"]


def test_export_to_a_folder(folder, tmp_path):
    """ensures that an export is written to a new folder only."""
    archive(folder, "export", "--client", CLIENT, "-o", tmp_path / "out")
    assert (tmp_path / "out" / "manifest.json").is_file()
    assert (tmp_path / "out" / f"{NUMBER}-r1" / "inputs" / "case.yaml").read_bytes() == (
        SAMPLE.read_bytes())
    archive(folder, "export", "--client", CLIENT, "-o", tmp_path / "out", code=2)


@pytest.mark.parametrize(("args", "code", "says"), [
    (("show", "IV-2026-0002"), 2, "did you mean 'IV-2026-0001'"),
    (("export", "--client", "Nobody", "-o", "x"), 2, "unknown client"),
    (("hold", "--reason", "x y z"), 1, "one of the two"),
    (("set", "--keep", "advisory"), 2, "CLASS=YEARS"),
    (("set", "--keep", "advisory=999"), 1, "0 to 100 years"),
    (("set", "--pattern", "../{serial}"), 1, "letters, digits"),
    (("set",), 2, "nothing to change"),
    (("withdraw", NUMBER, "--reason", "x", "-o", "x"), 1, "reason of 3"),
    (("due", "--on", "tomorrow"), 2, "tomorrow"),
])
def test_slips_are_told(folder, args, code, says):
    """ensures that a slip is told in one line and changes nothing."""
    found = archive(folder, *args, code=code)
    assert says in found.output and "Traceback" not in found.output
    assert data(folder, "head")["seq"] == 2


def test_no_archive(tmp_path):
    """ensures that a folder without an archive is said to be none, and stays as it is."""
    assert "is not an archive" in archive(tmp_path, "list", code=2).output
    assert os.listdir(tmp_path) == []


def test_init_and_the_environment(tmp_path):
    """ensures that an archive is made once, and named by the environment if wanted."""
    env = {"LOAMBRIEF_ARCHIVE": str(tmp_path / "new")}
    run("archive", "init", "--prefix", "QF", "--keep", "advisory=10", env=env)
    assert "an archive already" in run("archive", "init", env=env, code=1).output
    assert json.loads(run("archive", "head", "--json", env=env).stdout)["seq"] == 1


def test_own_wording_from_the_command_line(tmp_path):
    """ensures that bad own wording is refused with file and line before a case is read."""
    (tmp_path / "mine" / "en").mkdir(parents=True)
    (tmp_path / "mine" / "en" / "report.j2").write_text(
        "{% macro title(p) %}{{ ''.__class__ }}{% endmacro %}")
    found = run("advise", SAMPLE, "-o", tmp_path / "out", "--templates", tmp_path / "mine", code=2)
    assert "report.j2:1: the attribute '__class__'" in found.output
    assert not (tmp_path / "out").exists()


def test_two_commands_at_once(folder, tmp_path):
    """ensures that two commands run at the same time from a shell both get entered."""
    runs = [subprocess.Popen(
        [sys.executable, "-m", "loambrief.cli", "archive", "set", "--keep", f"notice={years}",
         "--archive", str(folder)], stdout=subprocess.DEVNULL) for years in (3, 4)]
    assert [one.wait(60) for one in runs] == [0, 0]
    assert data(folder, "check")["lines"] == 4
