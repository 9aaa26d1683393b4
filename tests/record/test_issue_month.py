"""Many cases issued in one run: what passes, what does not, and what survives any fault."""

import email
import errno
import hashlib
import json
import os
import re
import secrets
import shutil
import signal
from dataclasses import replace
from email.policy import SMTP
from functools import cache
from itertools import count
from pathlib import Path

import pytest
from click.testing import CliRunner
from record_builders import case_file, clock, unprinted

from loambrief import pipeline
from loambrief.archive.check import check
from loambrief.archive.errors import SignFault
from loambrief.archive.sign import Signed
from loambrief.archive.store import Store
from loambrief.batch import issue_month as issue_month_module
from loambrief.batch.issue_month import IssueRequest, issue_month
from loambrief.batch.lock import folder_lock
from loambrief.batch.progress import Progress
from loambrief.case.load import load_case
from loambrief.cli import main
from loambrief.cli.shared import not_told
from loambrief.errors import FolderBusy
from loambrief.mail.send import LetterState, SentLog
from loambrief.record import issue as issuing

ASH, ELM = "Ash Lane Farm", "Elm Court"


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """One finished advisory, so that runs of these tests draw none; of its data what letters
    and names are made of."""
    path = case_file(tmp_path_factory.mktemp("one"))
    advice = pipeline.advise(load_case(path))
    with unprinted():
        data = json.loads(pipeline.render(advice).data)
    return advice, {**data, "calculations": [], "findings": [], "verdicts": []}


@pytest.fixture
def quick(printed, monkeypatch):
    """Pages that name the case and the number and are otherwise empty; the gate stands open."""
    advice, data = printed

    def passed(inputs, name, words=None, sheet=False, form=None, rate_map=False):
        return issuing.Ready(inputs, replace(advice, loaded=inputs.loaded), words, sheet, form)

    def render(of, *, number, revision, status, issued, **_):
        case_id = of.loaded.case.case.id
        made = json.dumps({**data, "status": status.value, "number": number}).encode()
        return pipeline.Advisory(case_id, f"%PDF {case_id} {number} {issued}".encode(), made, of)

    monkeypatch.setattr(issuing, "passed", passed)
    for name in ("read_inputs", "load_case"):
        monkeypatch.setattr(issue_month_module, name, cache(getattr(issue_month_module, name)))
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
    """Counts every file that is synced or put in place, and acts before one of them, or each.

    A killed process loses nothing that it handed to the system, so nothing is really synced.
    """

    def __init__(self, patch, at=None, act=None):
        self.count, self.at, self.act = 0, at, act
        patch.setattr(os, "fsync", self._counted(lambda _: None))
        patch.setattr(os, "replace", self._counted(os.replace))

    def _counted(self, real):
        def step(*arguments, **more):
            self.count += 1
            if self.act is not None and self.at in (None, self.count):
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


def laid_out(folder, records):
    """A folder with an archive in which nothing was issued."""
    folder.mkdir()
    shutil.copytree(records, folder / "records")
    return folder


def whole(folder):
    """All there is in a folder but the lock, which holds nothing."""
    return {p.relative_to(folder): p.read_bytes() if p.is_file() else b""
            for p in sorted(folder.rglob("*")) if p.name != "lock"}


@pytest.fixture
def undisturbed(month, tmp_path, quick, monkeypatch):
    """Two cases of two clients; what a run without faults leaves, and all there was before each
    of its steps, which is what a process that is killed there leaves (but for its lock); where
    nothing has changed since the step before, the same folder again."""
    cases, folder = month[:2], laid_out(tmp_path / "calm", tmp_path / "records")
    run(cases, laid_out(tmp_path / "first", tmp_path / "records"))  # templates are compiled once
    left = []

    def keep():
        if left and whole(folder) == whole(left[-1]):
            left.append(left[-1])
        else:
            left.append(tmp_path / f"before-{len(left) + 1}")
            shutil.copytree(folder, left[-1], ignore=shutil.ignore_patterns("lock"))

    with monkeypatch.context() as patch:
        Steps(patch, act=keep)
        assert run(cases, folder).good
    assert len(left) > 30
    return cases, tree(folder / "out"), left


def finishes(cases, folder, wanted, at):
    """The next run issues the rest: one number and one signature a case, every file there."""
    assert run(cases, folder).good, at
    assert tree(folder / "out") == wanted, at
    assert sorted(log_of(folder)[1:]) == sorted(
        (op, f"IV-2026-000{n}") for n in (1, 2) for op in ("issue", "add")), at
    shutil.rmtree(folder)


def test_a_run_that_was_killed_anywhere_is_run_again(undisturbed, tmp_path, monkeypatch):
    """ensures that no case gets two numbers or two signatures, and every file is there at last.

    At three of the steps a process is really killed, and leaves what is taken for the others.
    """
    cases, wanted, left = undisturbed
    with monkeypatch.context() as patch:
        Steps(patch)
        for at in (1, len(left) // 2, len(left)):
            def broken(patch=patch, at=at):
                Steps(patch, at, _die)
                run(cases, tmp_path / "killed")
            laid_out(tmp_path / "killed", tmp_path / "records")
            assert apart(broken) == signal.SIGKILL, at
            assert sorted(tree(tmp_path / "killed" / "out")) == sorted(
                tree(left[at - 1] / "out"))
            finishes(cases, tmp_path / "killed", wanted, at)
        for folder in dict.fromkeys(left):
            finishes(cases, folder, wanted, folder.name)


def test_a_run_that_met_a_full_disk_anywhere_is_run_again(undisturbed, tmp_path, monkeypatch):
    """ensures the same where the disk is full at one step: it stops, says so, and goes on later.

    From what was left before, to the last byte, it is not gone on a second time; so nothing in
    the runs is left to chance.
    """
    cases, wanted, left = undisturbed
    finished = []
    for at in range(1, len(left) + 1):
        folder = laid_out(tmp_path / f"full-{at}", tmp_path / "records")
        with monkeypatch.context() as patch:
            Steps(patch, at, _full)
            names = count()
            patch.setattr(secrets, "token_hex", lambda size, names=names:
                          f"{next(names):0{2 * size}x}")
            try:
                first = run(cases, folder)
                assert first.stopped or tree(folder / "out") == wanted, at
            except OSError as error:  # the lock itself, or the archive's own files
                assert error.errno == errno.ENOSPC, at
        if whole(folder) in finished:
            continue
        finished.append(whole(folder))
        with monkeypatch.context() as patch:
            Steps(patch)
            finishes(cases, folder, wanted, at)


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


def test_who_gets_no_letter_is_told_before_the_first_number(month, tmp_path, quick, monkeypatch):
    """ensures that a missing e-mail address is said before anything is entered, once."""
    east, north, west = month
    for path in (east, west):
        path.write_text(re.sub(r"  email: od.*\n", "", path.read_text()))
    said = []

    progress = Progress()
    request = IssueRequest((east, north, west), tmp_path / "out", letters=True)
    with Store.open(tmp_path / "records", clock=clock()) as store:
        monkeypatch.setattr(progress, "say", lambda text: said.append((text, store.head[0])))
        done = issue_month(request, store, progress)
    assert said == [(f"no letter to {ASH}: the case gives no e-mail address of the client", 1)]
    assert done.good and [one.client for one in done.no_letter] == [ASH]
    assert list(not_told(done.no_letter, done.told)) == []
    assert list(not_told(done.no_letter, ())) == [said[0][0]]
    assert [p.parent.name for p in done.letters] == ["elm-court"]
