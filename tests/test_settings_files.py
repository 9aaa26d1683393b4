"""Settings files: one name for an option everywhere, and who goes before whom."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from loambrief.archive.store import Store
from loambrief.cli import main
from loambrief.doctor import Checked
from loambrief.settings import in_force

PROFILE = """\
# mine
name: Ilse Varga
business: Varga Field Notes
credential: {scheme: CCA, number: OH-1, expires: 2099-01-01}
interest: none
"""


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A user with settings, in a project's folder with others; writes either. The doctor's long
    checks have tests of their own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    for name in ("SETTINGS", "ARCHIVE", "UNITS", "OUTPUT"):
        monkeypatch.delenv(f"LOAMBRIEF_{name}", raising=False)
    monkeypatch.setattr("loambrief.doctor._answers", lambda: Checked("answers", True, ""))
    (tmp_path / "config" / "loambrief").mkdir(parents=True)
    (tmp_path / "project" / "deep").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "project" / "deep")

    def write(user="", project=""):
        (tmp_path / "config" / "loambrief" / "settings.toml").write_text(user)
        (tmp_path / "project" / "loambrief.toml").write_text(project)
        return tmp_path

    return write


def run(*arguments, code=0, **env):
    done = CliRunner().invoke(main, [str(a) for a in arguments], env=env)
    assert done.exit_code == code, done.output
    return done.output


def test_command_line_before_environment_before_project_before_user(home, monkeypatch):
    """ensures the order of precedence, for one option under one name."""
    top = home('archive = "mine"\nunits = "si"\n', 'archive = "../kept"\n')
    for folder in ("project/../kept", "env", "typed", "config/loambrief/mine"):
        Store.create(top / folder).close()
    heads = {}
    for name in ("config/loambrief/mine", "kept", "env", "typed"):
        with Store.open(top / name) as store:
            heads[name] = store.head[1]
    assert json.loads(run("archive", "head", "--json"))["head"] == heads["kept"]
    env = {"LOAMBRIEF_ARCHIVE": str(top / "env")}
    assert json.loads(run("archive", "head", "--json", **env))["head"] == heads["env"]
    typed = run("archive", "head", "--json", "--archive", top / "typed", **env)
    assert json.loads(typed)["head"] == heads["typed"]
    (top / "project" / "loambrief.toml").unlink()
    assert json.loads(run("archive", "head", "--json"))["head"] == heads["config/loambrief/mine"]


def test_doctor_says_what_is_in_force_and_from_where(home):
    """ensures that every setting is told with the file and line, or the variable, it is from."""
    top = home('paper = "a4"\nunits = "us"\n[mail]\nhost = "mail.example.org"\n',
               '\nunits = "si"\n')
    facts = {f["name"]: f for f in json.loads(run("doctor", "--json", LOAMBRIEF_OUTPUT="out"))}
    user = top / "config" / "loambrief" / "settings.toml"
    assert facts["settings paper"]["found"] == f"a4 (user, {user}:1)"
    project = top / "project" / "loambrief.toml"
    assert facts["settings units"]["found"] == f"si (project, {project}:2)"
    assert facts["settings output"]["found"] == "out (environment, LOAMBRIEF_OUTPUT)"
    assert facts["settings archive"]["found"] == "not set"
    assert facts["settings mail"]["good"] and str(user) in facts["settings mail"]["found"]


@pytest.mark.parametrize("text, said", [
    ("\nunitz = 'si'\n", ":2: unitz: unknown; known: adviser, output"),
    ("units = 'metric'\n", ":1: units: found 'metric', wanted one of us, si"),
    ("# x\npaper = 4\n", ":2: paper: found 4, wanted text"),
    ("mail = 'x'\n", ":1: mail: found 'x', wanted the table [mail]"),
    ("units = \n", ":1:9: not TOML"),
])
def test_problems_are_told_with_file_and_line(home, text, said):
    """ensures that every command but doctor stops at a settings file that is wrong."""
    top = home(text)
    user = top / "config" / "loambrief" / "settings.toml"
    assert f"{user}{said}" in run("archive", "list", code=2)
    assert f"{user}{said}" in run("doctor", code=1)


def test_all_problems_of_both_files_at_once(home):
    """ensures that two wrong files are put right in one go."""
    home("a = 1\nb = 2\n", "c = 3\n")
    said = run("new", "x.yaml", code=2)
    assert all(re.search(rf":\d: {key}: unknown", said) for key in "abc")


@pytest.mark.parametrize("text", ["[mail]\nhost = 'evil.example'\n",
                                  "[signing.token]\nmodule = 'x.so'\n"])
def test_a_project_cannot_say_where_letters_go_or_what_is_loaded(home, text):
    """ensures that a folder from somebody else leads no password away and loads no library."""
    home("", text)
    assert "only in your own settings" in run("send", ".", code=2)


def test_a_table_is_held_to_its_lines(home):
    """ensures that an unknown key of [mail] or [signing] is told with its line."""
    top = home('units = "us"\n[mail]\nhost = "mail.example.org"\nhots = "x"\n')
    (top / "a.eml").write_bytes(b"To: a@example.org\n\nx")
    user = top / "config" / "loambrief" / "settings.toml"
    assert f"{user}:4: mail.hots: unknown" in run("send", top, code=2)


def test_a_new_case_takes_adviser_paper_and_language_from_the_settings(home):
    """ensures that who has set up a profile and a paper once need not type them again."""
    top = home('adviser = "me.yaml"\npaper = "a4"\nlanguage = "es"\nunits = "us"\n')
    (top / "config" / "loambrief" / "me.yaml").write_text(PROFILE)
    run("new", "case.yaml", "--paper", "letter")
    with open("case.yaml") as stream:
        text = stream.read()
    assert "  paper: letter" in text and "  language: es" in text
    assert "  name: Ilse Varga" in text and "<your name>" not in text
    assert "no problems" in run("check", "case.yaml") or "CASE" in run("check", "case.yaml")


def test_a_named_settings_file_takes_the_place_of_the_users(home, monkeypatch):
    """ensures that LOAMBRIEF_SETTINGS names the file, and that one that is absent is told."""
    top = home('units = "si"\n')
    (top / "other.toml").write_text('units = "us"\n')
    monkeypatch.setenv("LOAMBRIEF_SETTINGS", str(top / "other.toml"))
    assert in_force().value("units") == "us"
    monkeypatch.setenv("LOAMBRIEF_SETTINGS", str(top / "none.toml"))
    assert "it is not there" in in_force().problems[0]


def test_help_comes_whatever_the_settings_say(home):
    """ensures that broken settings stop a command, and not its help; they are told on stderr."""
    home(user="colour = 3\nunits = \n")
    for words in (["advise"], ["issue"], ["archive", "supersede"], ["archive"]):
        asked = CliRunner().invoke(main, [*words, "--help"])
        assert asked.exit_code == 0 and asked.stdout.startswith("Usage:"), words
        assert "settings.toml:2" in asked.stderr
    stopped = CliRunner().invoke(main, ["advise", "x.yaml"])
    assert stopped.exit_code == 2 and "settings.toml:2" in stopped.stderr
    meant = CliRunner().invoke(main, ["advise", "--", "--help"])
    assert meant.exit_code == 2 and "Usage" not in meant.stdout
