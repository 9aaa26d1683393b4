"""Many cases issued in one run: what passes, what does not, and what survives any fault."""

import email
import errno
import hashlib
import json
import os
import shutil
import signal
from dataclasses import replace
from email.policy import SMTP
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from record_builders import case_file, clock

from loambrief import pipeline
from loambrief.archive.check import check
from loambrief.archive.errors import SignFault
from loambrief.archive.sign import Signed
from loambrief.archive.store import Store
from loambrief.batch import issue_month as issue_month_module
from loambrief.batch.issue_month import IssueRequest, issue_month
from loambrief.batch.lock import folder_lock
from loambrief.case.load import load_case
from loambrief.cli import main
from loambrief.errors import FolderBusy
from loambrief.mail.send import LetterState, SentLog
from loambrief.record import issue as issuing

ASH, ELM = "Ash Lane Farm", "Elm Court"


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """One finished advisory, so that runs of these tests draw none."""
    path = case_file(tmp_path_factory.mktemp("one"))
    advice = pipeline.advise(load_case(path))
    return advice, json.loads(pipeline.render(advice).data)


@pytest.fixture
def quick(printed, monkeypatch):
    """Pages that name the case and the number and are otherwise empty; the gate stands open."""
    advice, data = printed

    def passed(inputs, name, words=None, sheet=False, form=None):
        return issuing.Ready(inputs, replace(advice, loaded=inputs.loaded), words, sheet, form)

    def render(of, *, number, revision, status, issued, **_):
        case_id = of.loaded.case.case.id
        made = json.dumps({**data, "status": status.value, "number": number}).encode()
        return pipeline.Advisory(case_id, f"%PDF {case_id} {number} {issued}".encode(), made, of)

    monkeypatch.setattr(issuing, "passed", passed)
    monkeypatch.setattr(issue_month_module, "read_inputs", cache(issue_month_module.read_inputs))
    monkeypatch.setattr(issuing.pipeline, "render", render)


@pytest.fixture
def month(tmp_path):
    """Three cases of two clients, and an empty archive."""
    def one(name, client):
        return case_file(tmp_path / "in" / name, id=f"  id: {name}", client=f"  name: {client}")

    Store.create(tmp_path / "records", clock=clock()).close()
    return one("east", ASH), one("north", ELM), one("west", ASH)


def sign(pdf):
    return Signed(pdf + b" signed", "B-B", "B-B")


def run(cases, folder, archive="records", out="out", **more):
    request = IssueRequest(tuple(cases), folder / out, letters=True,
                           **{"sign": sign, **more})
    with Store.open(folder / archive, clock=clock()) as store:
        return issue_month(request, store)


def tree(folder):
    """Every file that was handed on, by its path from the folder."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*"))
            if p.is_file() and p.parent.name != ".loambrief"}


def log_of(folder):
    with Store.open(folder / "records") as store:
        assert check(store).good
        return [(line.op, line.public.get("number")) for line in store.lines()[0]]


def enclosed(path):
    message = email.message_from_bytes(path.read_bytes(), policy=SMTP)
    return {part.get_filename(): part.get_content() for part in message.iter_attachments()}


def test_a_month_is_numbered_signed_and_put_into_letters(month, tmp_path, quick):
    """ensures that each case has its number, its signature, and its place in one letter."""
    done = run(month, tmp_path)
    assert done.good and [c.made.number for c in done.cases] == [
        "IV-2026-0001", "IV-2026-0002", "IV-2026-0003"]
    assert sorted(tree(tmp_path / "out")) == [
        "ash-lane-farm/IV-2026-0001-r1-signed.pdf", "ash-lane-farm/IV-2026-0001-r1.json",
        "ash-lane-farm/IV-2026-0001-r1.pdf", "ash-lane-farm/IV-2026-0003-r1-signed.pdf",
        "ash-lane-farm/IV-2026-0003-r1.json", "ash-lane-farm/IV-2026-0003-r1.pdf",
        "ash-lane-farm/_letter.eml", "elm-court/IV-2026-0002-r1-signed.pdf",
        "elm-court/IV-2026-0002-r1.json", "elm-court/IV-2026-0002-r1.pdf",
        "elm-court/_letter.eml"]
    letter = tmp_path / "out" / "ash-lane-farm" / "_letter.eml"
    assert enclosed(letter) == {
        name: (tmp_path / "out" / "ash-lane-farm" / name).read_bytes()
        for name in ("IV-2026-0001-r1-signed.pdf", "IV-2026-0003-r1-signed.pdf")}
    assert b"draft" not in letter.read_bytes().lower()
    before = tree(tmp_path / "out")
    again = run(month, tmp_path)
    assert again.good and again.count("already issued") == 3
    assert tree(tmp_path / "out") == before
    assert log_of(tmp_path) == [("init", None), *[(op, f"IV-2026-000{n}") for n in (1, 2, 3)
                                                  for op in ("issue", "add")]]


def test_one_bad_case_never_stops_the_others(month, tmp_path, quick):
    """ensures that a case with problems, a doubled id and a missing file are named; others go."""
    east, north, west = month
    twin = tmp_path / "in" / "twin.yaml"
    shutil.copy(west, twin)
    north.write_text(north.read_text().replace("crop: corn", "crop: mistletoe"))
    done = run([east, north, tmp_path / "in" / "none.yaml", west, twin], tmp_path)
    assert [c.status for c in done.cases] == ["issued", *["not issued"] * 4]
    problems = ["\n".join(c.problems) for c in done.cases]
    assert f"{north}:" in problems[1] and "mistletoe" in problems[1]
    assert "none.yaml: No such file" in problems[2]
    assert problems[3] == problems[4] and f"that of {west}:6, {twin}:6" in problems[3]
    assert not done.good and not done.stopped


def test_what_was_sent_is_not_sent_again(month, tmp_path, quick):
    """ensures that a later run's letter brings only what no letter that was sent has brought."""
    east, north, _ = month
    run([east, north], tmp_path)
    letter = tmp_path / "out" / "ash-lane-farm" / "_letter.eml"
    content = letter.read_bytes()
    SentLog(tmp_path / "out" / "sent.jsonl", lambda: "2026-11-03T08:00:00+00:00").note(
        LetterState.SENT, hashlib.sha256(content).hexdigest(), "a@example.com", letter.name)
    done = run(month, tmp_path)
    assert letter.read_bytes() == content
    second = letter.with_name("_letter-2.eml")
    assert second in done.letters and list(enclosed(second)) == ["IV-2026-0003-r1-signed.pdf"]


def test_a_signature_that_fails_is_told_and_made_later(month, tmp_path, quick):
    """ensures that an advisory stands issued without its signature, and is signed next time."""
    def refuses(pdf):
        raise SignFault("the certificate is in another name")

    done = run(month[:1], tmp_path, sign=refuses)
    assert not done.good and done.cases[0].status == "issued"
    assert "another name" in done.cases[0].shortfalls[0]
    assert run(month[:1], tmp_path).good
    assert (tmp_path / "out" / "ash-lane-farm" / "IV-2026-0001-r1-signed.pdf").is_file()


# Faults ---------------------------------------------------------------------------------------


class Steps:
    """Counts every file that is synced or put in place, and acts before one of them.

    A killed process loses nothing that it handed to the system, so nothing is really synced.
    """

    def __init__(self, patch, at=0, act=None):
        self.count, self.at, self.act = 0, at, act
        patch.setattr(os, "fsync", self._counted(lambda _: None))
        patch.setattr(os, "replace", self._counted(os.replace))

    def _counted(self, real):
        def step(*arguments, **more):
            self.count += 1
            if self.count == self.at and self.act is not None:
                self.act()
            return real(*arguments, **more)
        return step


def _die():
    os.kill(os.getpid(), signal.SIGKILL)


def _full():
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def apart(action):
    """Do something in a process that may be killed; its exit status."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            action()
            status = 0
        finally:
            os._exit(status)
    return os.waitpid(child, 0)[1]


@pytest.fixture
def undisturbed(month, tmp_path, quick, monkeypatch):
    """What a run without faults leaves, and in how many steps."""
    folder = tmp_path / "calm"
    folder.mkdir()
    shutil.copytree(tmp_path / "records", folder / "records")
    with monkeypatch.context() as patch:
        steps = Steps(patch)
        assert run(month, folder).good
    return tree(folder / "out"), steps.count


@pytest.mark.parametrize("fault", ["killed", "full disk"])
def test_a_run_that_broke_off_anywhere_is_run_again(month, tmp_path, undisturbed, monkeypatch,
                                                    fault):
    """ensures that no case gets two numbers or two signatures, and every file is there at last.

    Each step of a month is the last one once: the process is killed, or the disk is full.
    """
    wanted, steps = undisturbed
    assert steps > 30
    for at in range(1, steps + 1):
        folder = tmp_path / f"at-{at}"
        folder.mkdir()
        shutil.copytree(tmp_path / "records", folder / "records")
        with monkeypatch.context() as patch:
            if fault == "killed":
                def broken(patch=patch, at=at, folder=folder):
                    Steps(patch, at, _die)
                    run(month, folder)
                assert apart(broken) == signal.SIGKILL, at
            else:
                Steps(patch, at, _full)
                try:
                    first = run(month, folder)
                    assert first.stopped or tree(folder / "out") == wanted, at
                except OSError as error:  # the lock itself, or the archive's own files
                    assert error.errno == errno.ENOSPC, at
        assert run(month, folder).good, at
        assert tree(folder / "out") == wanted, at
        entered = log_of(folder)
        assert sorted(entered[1:]) == sorted(
            (op, f"IV-2026-000{n}") for n in (1, 2, 3) for op in ("issue", "add")), at
        shutil.rmtree(folder)


def test_two_runs_at_once_share_the_numbers(month, tmp_path, quick):
    """ensures that two runs of one month on one archive give each case one number.

    Into one folder the second run is refused; into two, it waits its turn.
    """
    children = []
    for out in ("one", "two"):
        child = os.fork()
        if child == 0:
            status = 1
            try:
                status = 0 if run(month, tmp_path, out=out).good else 1
            finally:
                os._exit(status)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
    assert tree(tmp_path / "one") == tree(tmp_path / "two")
    assert len(log_of(tmp_path)) == 7
    with folder_lock(tmp_path / "one"), pytest.raises(FolderBusy):
        run(month, tmp_path, out="one")


def test_ctrl_c_finishes_the_case_in_work(month, tmp_path, quick):
    """ensures that an interrupted run leaves whole cases and says that it was interrupted."""
    def signs(pdf):
        os.kill(os.getpid(), signal.SIGINT)
        return sign(pdf)

    done = run(month, tmp_path, sign=signs)
    assert done.interrupted and [c.status for c in done.cases] == ["issued"]
    assert run(month, tmp_path).good and len(log_of(tmp_path)) == 7


# The command ----------------------------------------------------------------------------------


def test_the_command_issues_a_folder(tmp_path, monkeypatch):
    """ensures that a folder is issued with real pages: what passes, and what the others lack."""
    case_file(tmp_path / "in" / "good")
    bad = case_file(tmp_path / "in" / "bad", id="  id: other", location="", sampler="")
    Store.create(tmp_path / "records").close()
    command = ["issue", str(tmp_path / "in"), "--archive", str(tmp_path / "records"), "-o",
               str(tmp_path / "out"), "--mail"]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 1, done.output
    assert "2 cases: 1 issued, 0 already issued, 1 not issued" in done.output
    assert f"not issued: {bad}" in done.output and "farm.location" in done.output
    (letter,) = (tmp_path / "out").rglob("*.eml")
    pdfs = enclosed(letter)
    assert list(pdfs) == ["IV-2026-0001-r1.pdf", "IV-2026-0001-r1.annex.pdf"]
    assert all(pdf.startswith(b"%PDF-") for pdf in pdfs.values())
    assert b"do not act" not in letter.read_bytes()
    told = CliRunner().invoke(main, [*command, "--json"])
    data = json.loads(told.stdout)
    assert (data["issued"], data["already_issued"], data["not_issued"]) == (0, 1, 1)
    assert Path(data["letters"][0]) == letter
    quiet = CliRunner().invoke(main, [*command, "-q"])
    assert quiet.stdout == ""
    wrong = CliRunner().invoke(main, [*command, "--key", "me.p12"])
    assert wrong.exit_code == 2 and "--key goes with --sign" in wrong.output
