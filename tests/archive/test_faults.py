"""The store when things go wrong: killed anywhere, disk full, two at once, 500 operations."""

import errno
import os
import random
import shutil

import pytest
from store_builders import (
    PEOPLE,
    Steps,
    die,
    every_byte,
    here,
    issue_one,
    supersede_one,
    ticking,
    withdraw_one,
)

from loambrief.archive import log
from loambrief.archive.check import check
from loambrief.archive.queries import find
from loambrief.archive.store import Store
from loambrief.errors import ArchiveFault, LoambriefError


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """Makes a closed archive of three advisories in a folder: a copy, it is built once."""
    whole = tmp_path_factory.mktemp("base") / "a"
    with Store.create(whole, clock=ticking()) as store:
        for person in PEOPLE[:3]:
            issue_one(store, person)
        before = state(store)

    def copied(folder):
        shutil.copytree(whole, folder)
        return dict(before)

    return copied


def state(store):
    """What a user sees: every revision with its status, and the files it has."""
    return {(r.number, r.revision): (r.status, r.client) for r in find(store)}


def erase_first(store):
    person = store.client_named(PEOPLE[0])
    if person is not None:
        seqs = [s for (s,) in store.index.query(
            "SELECT seq FROM lines WHERE client = ? AND erased = 0", (person,))]
        store.commit("erase", {"client": person, "erases": seqs, "cause": "request"})


EVENTS = {
    "issue": lambda store: issue_one(store, PEOPLE[3]),
    "issue to a known client": lambda store: issue_one(store, PEOPLE[1], body=b" again"),
    "supersede": lambda store: supersede_one(store, "QF-2027-0002", PEOPLE[1]),
    "withdraw": lambda store: withdraw_one(store, "QF-2027-0003", PEOPLE[2]),
    "add": lambda store: store.commit(
        "add", {"client": store.client_named(PEOPLE[1])},
        {"client": {"name": PEOPLE[1]}, "files": []}, [b"a letter"]),
    "erase": erase_first,
    "rebuild": lambda store: store.rebuild(),
}


def steps_of(folder, event):
    """Names of the steps an event takes when nothing goes wrong."""
    hook = Steps()
    with Store.open(folder, clock=ticking(60), hook=hook) as store:
        hook.seen.clear()
        EVENTS[event](store)
    return hook.seen


def do_and_die(folder, event, at):
    """An event, killed before one of its steps."""
    hook = Steps()
    store = Store.open(folder, clock=ticking(60), hook=hook)
    hook.seen.clear()
    hook.at, hook.act = at, die
    EVENTS[event](store)


@pytest.mark.parametrize("event", EVENTS)
def test_killed_at_every_step(event, base, tmp_path, apart):
    """ensures that an event that is cut short anywhere has either happened or not, whole."""
    before = base(tmp_path / "a")
    steps = steps_of(tmp_path / "a", event)
    with Store.open(tmp_path / "a") as store:
        after = state(store)
    assert len(steps) >= 3
    outcomes = set()
    for at in range(1, len(steps) + 1):
        folder = tmp_path / f"killed-{at}"
        base(folder)
        assert apart(do_and_die, folder, event, at) == -9, steps[at - 1]
        with Store.open(folder, clock=ticking(90)) as store:  # puts right what was left
            report = check(store)
            assert report.good, (steps[at - 1], [str(b) for b in report.breaks])
            found = state(store)
            assert found in (before, after), steps[at - 1]
            outcomes.add(found == after)
            assert not store.disk.exists("pending.json")
            assert list(store.disk.names("tmp")) == []
            if event == "erase" and found == after:
                assert b"odessa" not in every_byte(folder)
            EVENTS[event](store)  # and the work can go on
            assert check(store).good
    if before != after:
        assert outcomes == {True, False}  # both sides of the log line were reached


def erase_and_die(folder, at):
    """An erasure, killed before a step of the opening or its own."""
    erase_first(Store.open(folder, clock=ticking(60), hook=Steps(at, die)))


def test_killed_while_recovering(base, tmp_path, apart):
    """ensures that being killed again while an erasure is finished changes nothing."""
    base(tmp_path / "a")
    for at in range(1, 40):
        code = apart(erase_and_die, tmp_path / "a", at)
        if code == 0:
            break
        assert code == -9
    assert code == 0
    with Store.open(tmp_path / "a") as store:
        assert check(store).good
        assert b"odessa" not in every_byte(tmp_path / "a")


@pytest.mark.parametrize("event", [e for e in EVENTS if e != "rebuild"])
def test_disk_full_at_every_step(event, base, tmp_path):
    """ensures that a full disk is reported, and that nothing is half entered."""
    before = base(tmp_path / "a")
    steps = steps_of(tmp_path / "a", event)

    def full():
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    for at in range(1, len(steps) + 1):
        folder = tmp_path / f"full-{at}"
        base(folder)
        hook = Steps()
        with Store.open(folder, clock=ticking(60), hook=hook) as store:
            hook.seen.clear()
            hook.at, hook.act = at, full
            with pytest.raises((OSError, ArchiveFault)):
                EVENTS[event](store)
            hook.act = None
            logged = store.lines()[0][-1].seq > 4
            if not logged:  # nothing has happened, in this process and the next
                assert state(store) == before, steps[at - 1]
                assert check(store).good, steps[at - 1]
        with Store.open(folder, clock=ticking(90)) as store:
            assert check(store).good, steps[at - 1]
            assert (state(store) == before) or logged
            EVENTS[event](store)
            assert check(store).good


def test_half_a_line(base, tmp_path):
    """ensures that a line that was torn by a loss of power is dropped, and the rest is kept."""
    before = base(tmp_path / "a")
    path = tmp_path / "a" / log.NAME
    whole = path.read_bytes()
    for cut in (1, 40, 200):
        path.write_bytes(whole + b'{"card":"' + b"0" * cut)
        with Store.open(tmp_path / "a") as store:
            assert state(store) == before
            assert check(store).good
        assert path.read_bytes() == whole


def test_everything_is_synced_before_it_counts(synced, tmp_path):
    """ensures that files and their folder reach the disk before the line, the line before done."""
    with Store.create(tmp_path / "a", clock=ticking()) as store:
        synced.clear()
        issue_one(store)
    line = synced.index(log.NAME)
    assert line >= 6  # the note and three objects, each with its folder
    assert len([name for name in synced[:line] if len(name) == 2]) == 3  # folders of objects


def test_two_processes_never_share_a_number(tmp_path):
    """ensures that processes that issue at the same time get numbers of their own, none lost."""
    Store.create(tmp_path / "a", clock=ticking()).close()

    def work(person):
        def issue_some():
            with Store.open(tmp_path / "a", clock=ticking()) as store:
                for i in range(8):
                    issue_one(store, person, body=str(i).encode())
        return issue_some

    children = []
    for person in PEOPLE:
        child = os.fork()
        if child == 0:
            try:
                work(person)()
            except BaseException:
                os._exit(1)
            os._exit(0)
        children.append(child)
    assert [os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for c in children] == [0] * 4
    with Store.open(tmp_path / "a") as store:
        rows = find(store)
        assert sorted(r.number for r in rows) == [f"QF-2027-{i:04}" for i in range(1, 33)]
        assert {p: sum(r.client == p for r in rows) for p in PEOPLE} == dict.fromkeys(PEOPLE, 8)
        assert check(store).good


def test_another_process_sees_what_was_entered(tmp_path):
    """ensures that an archive that stays open takes in what others enter meanwhile."""
    with Store.create(tmp_path / "a", clock=ticking()) as one, Store.open(
            tmp_path / "a", clock=ticking()) as two:
        assert issue_one(one) == "QF-2027-0001"
        assert issue_one(two) == "QF-2027-0002"
        assert issue_one(one) == "QF-2027-0003"
        assert len(find(two)) == 3
        assert check(one).good and check(two).good


class Model:
    """What should be in the archive, in plain Python."""

    def __init__(self):
        self.records, self.held, self.next = {}, set(), 1

    def copy(self):
        other = Model()
        other.records, other.held, other.next = dict(self.records), set(self.held), self.next
        return other

    def apply(self, name, person, number):
        revisions = [key for key in self.records if key[0] == number]
        if name == "issue":
            self.records[f"QF-2027-{self.next:04}", 1] = ("issued", person)
            self.next += 1
        elif name == "supersede" and revisions:
            last = max(revisions)
            self.records[last] = ("superseded", self.records[last][1])
            self.records[number, last[1] + 1] = ("issued", self.records[last][1])
        elif name == "withdraw" and revisions:
            last = max(revisions)
            self.records[last] = ("withdrawn", self.records[last][1])
        elif name == "hold":
            self.held.add(person)
        elif name == "release":
            self.held.discard(person)
        elif name == "erase" and person not in self.held:
            for key, (_, whose) in self.records.items():
                if whose == person:
                    self.records[key] = ("erased", None)


def perform(store, name, person, number):
    """The same on the store; what makes no sense is refused."""
    client = store.client_named(person)
    if name == "issue":
        issue_one(store, person)
    elif name == "supersede":
        supersede_one(store, number, person)
    elif name == "withdraw":
        withdraw_one(store, number, person)
    elif name == "erase":
        held = store.index.query("SELECT 1 FROM holds WHERE target = ?", (f"client {client}",))
        seqs = [s for (s,) in store.index.query(
            "SELECT seq FROM lines WHERE client = ? AND erased = 0 AND card IS NOT NULL",
            (client,))]
        if held or not seqs:
            raise LoambriefError("held")
        store.commit("erase", {"client": client, "erases": seqs, "cause": "request"})
    elif name in ("hold", "release"):
        store.commit(name, {"client": client}, {"reason": "claim"})


def open_and_perform(folder, minute, at, *operation):
    with Store.open(folder, clock=ticking(minute), hook=Steps(at, die)) as store:
        perform(store, *operation)


def test_five_hundred_operations_with_crashes(tmp_path, apart):
    """ensures that after any mix of events and crashes the archive is what a model says."""
    chance = random.Random(8785)
    folder = tmp_path / "a"
    Store.create(folder, clock=ticking()).close()
    model, crashes = Model(), 0
    for round_number in range(500):
        person = chance.choice(PEOPLE)
        live = [(n, whose) for (n, _), (status, whose) in model.records.items()
                if status == "issued"]
        name = chance.choices(("issue", "supersede", "withdraw", "hold", "release", "erase"),
                              (8, 5, 2, 1, 1, 1))[0]
        number = ""
        if name in ("supersede", "withdraw"):
            if not live:
                continue
            number, person = chance.choice(live)
        elif name != "issue" and person not in {w for _, w in model.records.values()}:
            continue
        at = chance.randint(1, 60) if chance.random() < 0.5 else None
        code = (apart if at else here)(open_and_perform, folder, round_number, at, name, person,
                                       number)
        crashes += code == -9
        if name == "erase" and person in model.held:
            assert code in (1, -9)
        after = model.copy()
        after.apply(name, person, number)
        if code == 0:
            model = after
            if round_number % 10:
                continue
        with Store.open(folder, clock=ticking()) as store:
            found = state(store)
            if code == -9 and name in ("hold", "release"):
                holds = {PEOPLE[i] for i, p in enumerate(PEOPLE) if store.index.query(
                    "SELECT 1 FROM holds WHERE target = ?",
                    (f"client {store.client_named(p)}",))}
                assert holds in (model.held, after.held)
                model.held = holds
            elif code == -9 and found != model.records:
                model = after
            assert found == model.records, (round_number, name, code)
            if round_number % 25 == 0:
                report = check(store)
                assert report.good, [str(b) for b in report.breaks]
    with Store.open(folder, clock=ticking()) as store:
        assert check(store).good
        store.rebuild()
        assert state(store) == model.records
    assert crashes > 60 and len(model.records) > 150
