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

from loambrief.agronomy.arguments import fitted
from loambrief.agronomy.registry import FORMULAS
from loambrief.cli import main
from loambrief.errors import LoambriefError
from loambrief.topics import formulas as topics  # noqa: F401  (registers the formulas)

SAMPLES = Path(__file__).parents[1] / "sample_inputs"
CASE = SAMPLES / "acid_corn_ohio" / "case.yaml"
PROGRAM = [sys.executable, "-m", "loambrief.cli"]


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def outside(*arguments, **more):
    """The program in a process of its own."""
    environment = {**os.environ, **more.pop("env", {})}
    return subprocess.run([*PROGRAM, *arguments], env=environment, timeout=300,
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
    assert child.stderr.read() == b"" and child.wait(300) == 141
    child.stderr.close()


def test_closed_output_is_no_fault():
    """ensures that a command without standard output works (a job without a terminal)."""
    done = subprocess.run(["/bin/sh", "-c", '"$@" >&-', "sh", *PROGRAM, "calc"],
                          capture_output=True, timeout=300, check=False)
    assert (done.returncode, done.stderr) == (0, b"")


def test_full_disk_is_told():
    """ensures that output that could not be written ends in exit 2, in one line."""
    with open("/dev/full", "wb") as full:
        done = outside("calc", stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1


def test_json_stays_json_on_a_terminal_without_unicode():
    """ensures that JSON is the same data whatever the terminal's encoding."""
    odd = outside("schema", env={"PYTHONIOENCODING": "latin-1"})
    assert json.loads(odd.stdout.decode("latin-1")) == json.loads(run("schema").stdout)


def test_words_stay_readable_on_a_terminal_without_unicode(tmp_path):
    """ensures that a sign the terminal lacks becomes the nearest plain one."""
    path = tmp_path / "feld.yaml"
    path.write_text(CASE.read_text("utf-8").replace("name: East 40", "nome: Île – 40 ★"), "utf-8")
    done = CliRunner(charset="latin-1").invoke(main, ["check", str(path)])
    assert done.exit_code == 1 and "nome: Île - 40 ?" in done.stdout_bytes.decode("latin-1")
    done = CliRunner(charset="ascii").invoke(main, ["check", str(path)])
    assert "nome: Île – 40 ★" in done.stdout_bytes.decode("utf-8")


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


@pytest.mark.parametrize("started", [signal.SIG_DFL, signal.SIG_IGN])
def test_ctrl_c_is_told_with_the_usual_code(started, tmp_path):
    """ensures that an interrupted command ends with 130, not with the code of a bad case.

    Started with the signal ignored (``nohup loambrief ... &``), it goes on.
    """
    script = tmp_path / "slow.py"
    script.write_text("""
import click, os, signal, sys
from loambrief.cli import main
@click.command()
def slow():
    os.kill(os.getpid(), signal.SIGINT)
    print("went on")
type(main).get_command = lambda self, ctx, name: slow
sys.exit(main(["calc"]))
""", encoding="utf-8")
    done = subprocess.run([sys.executable, script], capture_output=True, timeout=300, check=False,
                          preexec_fn=lambda: signal.signal(signal.SIGINT, started))
    if started is signal.SIG_IGN:
        assert (done.returncode, done.stdout, done.stderr) == (0, b"went on\n", b"")
    else:
        assert (done.returncode, done.stderr) == (130, b"\nloambrief: interrupted\n")


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


def test_output_that_cannot_be_written_is_refused_before_any_work(tmp_path):
    """ensures that a file in the place of the folder is named, and no number is given away."""
    records = tmp_path / "records"
    assert run("archive", "init", "--archive", records).exit_code == 0
    file = tmp_path / "note.txt"
    file.write_text("not a folder")
    for arguments in (["issue", CASE, "--archive", records, "-o", file],
                      ["advise", CASE, "-o", file / "below"], ["fieldsheet", CASE, "-o", file],
                      ["batch", CASE, "-o", file]):
        result = run(*arguments)
        assert result.exit_code == 2 and f"{file} is not a folder" in result.stderr
    assert json.loads(run("archive", "list", "--archive", records, "--json").stdout) == []
    assert file.read_text() == "not a folder"


@pytest.mark.parametrize("arguments", [["check", ""], ["advise", ""], ["new", ""], ["send", ""]])
def test_empty_name_is_not_the_present_folder(arguments):
    """ensures that an unset variable of a shell is not taken for the folder one stands in."""
    result = run(*arguments)
    assert result.exit_code == 2 and "the name is empty" in result.stderr


def test_send_makes_no_folder(tmp_path):
    """ensures that a misspelt folder is told, and not made."""
    result = run("send", tmp_path / "nowhere")
    assert result.exit_code == 2 and "does not exist" in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["field", "field.txt", "."])
def test_new_case_ends_in_yaml(tmp_path, name):
    """ensures that a case is not written under a name that a batch would pass over."""
    result = run("new", tmp_path / name)
    assert result.exit_code == 2 and "name the file too" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_new_case_says_what_comes_next(tmp_path):
    """ensures that the next command can be pasted, also with blanks in the name."""
    path = tmp_path / "Île 40" / "l'été.yaml"
    result = run("new", path)
    command = result.stdout.strip().rpartition("loambrief ")[2]
    words = subprocess.run(["/bin/sh", "-c", f"printf '%s\\0' {command}"], capture_output=True,
                           timeout=300, check=True).stdout.decode().split("\0")[:-1]
    done = run(*words)
    assert result.exit_code == 0 and done.exit_code == 0, done.output


@pytest.mark.parametrize("arguments", [
    ["new", "--from", CASE, "--crop", "oats"], ["new", "--from", CASE, "--units", "si"],
    ["intake", "results.csv", "--map", "m.yaml", "--update", "c.yaml", "--crop", "oats"]])
def test_option_without_effect_is_refused(tmp_path, arguments):
    """ensures that nothing that was asked for is silently passed over."""
    more = [tmp_path / "next.yaml"] if arguments[0] == "new" else []
    result = run(*arguments, *more)
    assert result.exit_code == 2 and "without --" in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content, kind", [
    (b"%PDF-1.7\n%\xe2\xe3", "a PDF file"), (b"PK\x03\x04\x14", "a spreadsheet"),
    (b"\x89PNG\r\n\x1a\n", "a picture"), ("case: x\n".encode("utf-16"), "UTF-16"),
    ("case: x, case: y\n".encode("utf-16-le"), "UTF-16"),
    ("case: x, case: y\n".encode("utf-16-be"), "UTF-16")])
def test_file_that_is_no_text_is_called_by_its_kind(tmp_path, content, kind):
    """ensures that one line says what the file is, without showing its bytes."""
    path = tmp_path / "case.yaml"
    path.write_bytes(content)
    result = run("check", path)
    assert result.exit_code == 1 and f"found {kind}" in result.stdout
    assert len(result.stdout.splitlines()) == 2


def intake(folder, *more):
    place = SAMPLES / "lab_file"
    return run("intake", place / "results.csv", "--map", place / "map.yaml", "--update",
               place / "visit.yaml", "-o", folder, *more)


def test_intake_names_the_files_that_stay_behind(tmp_path):
    """ensures that a case written elsewhere does not lose its profiles unnoticed."""
    result = intake(tmp_path)
    assert result.exit_code == 0
    assert "not in " + str(tmp_path) + ": profiles/adviser.yaml, profiles/materials.yaml" in (
        result.stdout)
    for name in ("adviser", "materials"):
        into = tmp_path / "profiles" / f"{name}.yaml"
        into.parent.mkdir(exist_ok=True)
        into.write_bytes((SAMPLES / "lab_file" / "profiles" / f"{name}.yaml").read_bytes())
    again = intake(tmp_path)
    assert again.exit_code == 2 and "exists" in again.stderr
    (tmp_path / "visit.yaml").unlink()
    assert "profiles" not in "".join(json.loads(intake(tmp_path, "--json").stdout)["notes"])


def test_unknown_names_come_with_what_is_known():
    """ensures that who misspells a topic or formula learns the names there are."""
    assert "known: acidity, " in run("sources", "--topic", "soap").stderr
    assert "esp_from_sar" in run("calc", "esp").stderr
    assert "'loambrief calc' alone lists all" in run("calc", "zzz").stderr


def test_key_is_put_into_a_new_folder(tmp_path):
    """ensures that a key's folder is made, as those of other files are."""
    path = tmp_path / "my keys" / "me.p12"
    result = CliRunner().invoke(main, ["keys", "new", "--name", "A", "-o", str(path),
                                       "--passphrase-env", "P"], env={"P": "long enough"})
    assert result.exit_code == 0 and path.with_suffix(".pem").is_file()


def test_quiet_says_nothing_where_all_is_well(tmp_path):
    """ensures that -q means the same with check and fieldsheet as with advise."""
    small = tmp_path / "case.yaml"
    run("new", small)
    for arguments in (["check", CASE], ["fieldsheet", small, "-o", tmp_path]):
        result = run(*arguments, "-q")
        assert (result.exit_code, result.output) == (0, "")


def test_placeholder_is_not_offered_to_be_accepted(tmp_path):
    """ensures that a fresh case is told to be filled in, and nothing else."""
    path = tmp_path / "case.yaml"
    run("new", path)
    told = [part for part in run("check", path).stdout.split(f"{path}:") if "CASE119" in part]
    assert len(told) > 5 and not any("accept:" in part for part in told)
