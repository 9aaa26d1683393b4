"""The store with small made-up content: what it keeps, finds, and notices."""

import datetime as dt
import json
import os
import shutil
import sqlite3
import stat
from pathlib import Path

import pytest
from store_builders import (
    PEOPLE,
    card_of,
    every_byte,
    issue_one,
    supersede_one,
    ticking,
    withdraw_one,
)

from loambrief.archive import log
from loambrief.archive.canonical import canonical, digest, sha256
from loambrief.archive.check import check
from loambrief.archive.queries import Search, due, find, history, keep_until
from loambrief.archive.settings import Settings, initials
from loambrief.archive.store import Store, object_name
from loambrief.errors import (
    ArchiveBroken,
    ArchiveFault,
    ImpossibleInput,
    RecordRefused,
    UnknownName,
)


@pytest.fixture
def store(tmp_path):
    with Store.create(tmp_path / "records", clock=ticking()) as made:
        yield made


@pytest.fixture
def filled(store):
    """Three advisories of two people, one replaced, one withdrawn."""
    first = issue_one(store, PEOPLE[0])
    issue_one(store, PEOPLE[1])
    third = issue_one(store, PEOPLE[0], year=2028)
    supersede_one(store, first, PEOPLE[0])
    withdraw_one(store, third, PEOPLE[0])
    return store


def lines_of(store):
    return store.disk.path(log.NAME).read_bytes().splitlines(keepends=True)


def rewrite(store, lines):
    store.disk.path(log.NAME).write_bytes(b"".join(lines))


def opened(store):
    return Store.open(store.disk.root, clock=ticking())


# -- what is kept ---------------------------------------------------------------------------


def test_numbers_run_by_series(filled):
    """ensures that each prefix and year has serials of its own, and revisions keep the number."""
    rows = [(r.number, r.revision, r.status) for r in find(filled)]
    assert rows == [("QF-2027-0001", 1, "superseded"), ("QF-2027-0002", 1, "issued"),
                    ("QF-2028-0001", 1, "withdrawn"), ("QF-2027-0001", 2, "issued")]


def test_a_new_pattern_never_repeats_a_number(store):
    """ensures that a number is unique in the archive whatever the pattern was before."""
    issue_one(store)
    with store.writing():
        settings = store.settings.changed({"pattern": "QF-2027-{serial:4}"})
        store.commit("settings", {"settings": settings.as_json()})
    assert issue_one(store) == "QF-2027-0002"


@pytest.mark.parametrize("pattern", ["{serial}/x", "../{serial}", "{prefix}", "{serial.x}", "",
                                     "{serial!r}", ".{serial}", "a\n{serial}", "{year:9}"])
def test_pattern_cannot_lead_out(pattern):
    """ensures that a number is always fit for a file name, and that no format trick is run."""
    with pytest.raises(ImpossibleInput):
        Settings(pattern=pattern)


@pytest.mark.parametrize("years", [{"advisory": -1}, {"advisory": 101}, {"advisory": True},
                                   {"letters": 3}])
def test_retention_is_checked(years):
    """ensures that a retention that cannot be is refused."""
    with pytest.raises(ImpossibleInput):
        Settings(years=years)


def test_initials():
    """ensures that initials are letters a file name can hold."""
    assert [initials(n) for n in ("Ilse Varga", "Óscar  de la Peña", "李")] == ["IV", "ODLP", "A"]


def test_private_modes(filled):
    """ensures that nobody else on the machine can read the record."""
    for path in [filled.disk.root, *filled.disk.root.rglob("*")]:
        wanted = 0o700 if path.is_dir() else 0o600
        assert stat.S_IMODE(path.stat().st_mode) == wanted, path


def test_log_names_nobody(filled):
    """ensures that the log holds numbers and digests, no client's words."""
    text = filled.disk.path(log.NAME).read_text().casefold()
    for word in ("odessa", "bram", "lower", "maíz", "555-0199", "swapped", "new prices"):
        assert word not in text


def test_same_content_twice_has_two_commitments(store):
    """ensures that a digest in the log cannot be guessed from the content: cards are salted."""
    lines = [store.commit("add", {"client": "c1"}, {"client": {"name": "Bram Tolliver"}})
             for _ in range(2)]
    assert lines[0].card != lines[1].card


def test_no_two_archives_in_one_folder(store, tmp_path):
    """ensures that an archive is not made over another or among other files."""
    with pytest.raises(RecordRefused):
        Store.create(store.disk.root)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "notes.txt").write_text("mine")
    with pytest.raises(RecordRefused):
        Store.create(tmp_path / "other")
    with pytest.raises(ArchiveFault):
        Store.open(tmp_path / "other")


def test_find_digest(filled):
    """ensures that a file is known by its digest, with the state of its advisory now."""
    entry = filled.find_digest(sha256(b"%PDF QF-2028-0001 for Odessa N\xc3\xba\xc3\xb1ez"))
    assert (entry.number, entry.revision, entry.role, entry.status) == (
        "QF-2028-0001", 1, "pdf", "withdrawn")
    assert filled.find_digest("0" * 64) is None


# -- what is found --------------------------------------------------------------------------


@pytest.mark.parametrize(("wanted", "count"), [
    (Search(client="nunez"), 3), (Search(client="ODESSA NÚÑEZ"), 3), (Search(client="tolliver"), 1),
    (Search(field="lb"), 4), (Search(field="bench"), 4), (Search(crop="maiz"), 4),
    (Search(action="lime"), 4), (Search(action="acidity.lime"), 4),
    (Search(material="agricola"), 4), (Search(material="gypsum"), 0),
    (Search(status="issued"), 2), (Search(client="nunez", status="withdrawn"), 1),
    (Search(since=dt.date(2027, 3, 1)), 4), (Search(until=dt.date(2027, 2, 28)), 0),
    (Search(text="senal debil"), 4), (Search(text="SEÑAL lime"), 4), (Search(text="aced*"), 4),
    (Search(text="aced"), 0), (Search(text='bench" OR "x'), 0), (Search(text="lower (bench) -"), 4),
])
def test_find(filled, wanted, count):
    """ensures that case, accents and signs of a query language do not matter when looking."""
    assert len(find(filled, wanted)) == count


@pytest.mark.parametrize("wanted", [Search(text="-- ()"), Search(status="lost")])
def test_find_refuses(filled, wanted):
    """ensures that a search that can find nothing says so."""
    with pytest.raises(ImpossibleInput):
        find(filled, wanted)


def test_history_and_unknown_numbers(filled):
    """ensures that each event of an advisory is told, and a wrong number is named."""
    assert [e["op"] for e in history(filled, "QF-2027-0001")] == ["issue", "supersede"]
    with pytest.raises(UnknownName, match="QF-2027-0001"):
        history(filled, "QF-2027-001")


def test_what_falls_due(filled):
    """ensures that validity, looks and retention are told on time, and not of withdrawn advice."""
    assert [(d.kind, d.number, d.revision) for d in due(filled, dt.date(2027, 9, 15))] == [
        ("validity", "QF-2027-0001", 2), ("validity", "QF-2027-0002", 1)]
    assert {(d.kind, d.what) for d in due(filled, dt.date(2028, 2, 20))} == {
        ("look", "Test pH again")}
    kept = {r.number: keep_until(filled, r) for r in find(filled)}
    assert kept["QF-2027-0002"] == dt.date(2034, 9, 30)  # 7 years from the end of validity
    assert due(filled, dt.date(2034, 9, 30)) == []
    assert len([d for d in due(filled, dt.date(2034, 10, 1)) if d.kind == "retention"]) == 4


def test_notices_and_documents_have_their_own_years(filled):
    """ensures that a record is kept as long as its notice, and loose documents by their class."""
    with filled.writing():
        settings = filled.settings.changed({"years": {"advisory": 1, "notice": 9, "document": 2}})
        filled.commit("settings", {"settings": settings.as_json()})
        filled.commit("add", {"client": filled.client_named(PEOPLE[1])},
                      {"client": {"name": PEOPLE[1]}, "files": []})
    kept = {r.number: keep_until(filled, r) for r in find(filled)}
    assert kept["QF-2027-0002"] == dt.date(2028, 9, 30)
    assert kept["QF-2028-0001"] == dt.date(2036, 3, 1)  # withdrawn on 1 March 2027
    loose = [d for d in due(filled, dt.date(2029, 3, 2)) if not d.number]
    assert [(d.kind, d.due, d.client) for d in loose] == [("retention", "2029-03-01", PEOPLE[1])]


def test_retention_is_set_and_counts_from_entry_if_asked(filled):
    """ensures that years and start of retention can be set, leap days included."""
    with filled.writing():
        settings = filled.settings.changed({"years": {"advisory": 2}, "start": "issue"})
        filled.commit("settings", {"settings": settings.as_json()})
    assert keep_until(filled, find(filled)[0]) == dt.date(2029, 3, 1)
    assert Settings(years={"advisory": 1}).until("advisory", dt.date(2028, 2, 29)) == dt.date(
        2029, 2, 28)


# -- what is noticed ------------------------------------------------------------------------


def test_good(filled):
    """ensures that an untouched archive checks clean and its head is found again."""
    noted = filled.head[1]
    issue_one(filled, PEOPLE[2])
    report = check(filled, noted)
    assert report.good and report.anchored == 6 and report.lines == 7
    assert report.head == filled.head[1]


def first_break(store, head=None):
    with opened(store) as again:
        report = check(again, head)
        assert not report.good
        return report.first


def test_edited_line(filled):
    """ensures that a changed line is named, also with its own digest made anew."""
    lines = lines_of(filled)
    edited = lines[2].replace(b"QF-2027-0002", b"QF-2027-0009")
    rewrite(filled, [*lines[:2], edited, *lines[3:]])
    assert (first_break(filled).kind, first_break(filled).where) == ("edited", "log.jsonl:3")
    members = json.loads(edited)
    del members["digest"]
    forged = canonical({**members, "digest": digest(members)}) + b"\n"
    rewrite(filled, [*lines[:2], forged, *lines[3:]])
    assert (first_break(filled).kind, first_break(filled).where) == ("edited", "log.jsonl:4")


def test_last_line_edited(filled):
    """ensures that a last line of right digest and length, but not the one that was written, is
    noticed: nothing after it in the log can tell."""
    *before, last = lines_of(filled)
    members = json.loads(last)
    del members["digest"]
    members["time"] = members["time"].replace("20", "19", 1)
    forged = canonical({**members, "digest": digest(members)}) + b"\n"
    assert len(forged) == len(last) and forged != last
    rewrite(filled, [*before, forged])
    assert first_break(filled).kind == "edited"


def test_removed_line(filled):
    """ensures that missing lines are counted, and that a cut end is noticed by the index."""
    lines = lines_of(filled)
    rewrite(filled, [*lines[:2], *lines[4:]])
    assert str(first_break(filled)) == "log.jsonl:3: removed: lines 3 to 4 missing"
    rewrite(filled, lines[:4])
    assert first_break(filled).kind == "removed"


def test_reordered_lines(filled):
    """ensures that exchanged lines are told from missing ones."""
    lines = lines_of(filled)
    rewrite(filled, [*lines[:2], lines[3], lines[2], *lines[4:]])
    assert (first_break(filled).kind, first_break(filled).where) == ("reordered", "log.jsonl:3")


def test_log_rewritten_as_a_whole(filled):
    """ensures that a forged log of right digests is found out with a head noted elsewhere."""
    noted = filled.head[1]
    lines = [json.loads(line) for line in lines_of(filled)]
    lines[1]["time"] = "2027-01-01T00:00:00Z"
    prev, forged = log.START, []
    for members in lines:
        members = {**members, "prev": prev}
        del members["digest"]
        prev = digest(members)
        forged.append(canonical({**members, "digest": prev}) + b"\n")
    rewrite(filled, forged)
    filled.close()
    for path in filled.disk.root.glob("index.sqlite*"):
        path.unlink()
    with opened(filled) as again:
        assert check(again).good  # nothing inside the folder can tell
        assert [b.kind for b in check(again, noted).breaks] == ["anchor"]


@pytest.mark.parametrize(("spoil", "kind"), [
    (lambda p: p.unlink(), "missing"),
    (lambda p: p.write_bytes(p.read_bytes() + b" "), "tampered"),
    (lambda p: p.write_bytes(b""), "tampered"),
    (lambda p: (p.rename(p.with_suffix(".x")), p.symlink_to(p.with_suffix(".x"))), "link"),
    (lambda p: (p.unlink(), os.mkfifo(p)), "link"),
    (lambda p: (p.unlink(), p.mkdir()), "link"),
])
def test_spoiled_file_is_named(filled, spoil, kind):
    """ensures that a file of the record that is missing, changed or exchanged is named."""
    name = object_name(sha256(b"%PDF QF-2027-0002 for Bram Tolliver"))
    spoil(filled.disk.path(name))
    report = check(filled)
    assert (report.first.kind, report.first.where) == (kind, name)
    with pytest.raises(ArchiveBroken):
        filled.content(sha256(b"%PDF QF-2027-0002 for Bram Tolliver"))


def test_spoiled_card(filled):
    """ensures that a changed card is named and does not stop the rest from being found."""
    card = filled.index.query("SELECT card FROM lines WHERE seq = 3")[0][0]
    path = filled.disk.path(object_name(card))
    path.write_bytes(path.read_bytes().replace(b"Bram", b"Fred"))
    assert check(filled).first.kind == "tampered"
    filled.rebuild()
    assert [r.client for r in find(filled)].count(None) == 1


def test_stray_file(filled):
    """ensures that a file that no event brought is named."""
    filled.disk.path("objects/00").mkdir(exist_ok=True)
    filled.disk.path("objects/00/" + "1" * 62).write_bytes(b"x")
    assert check(filled).first.kind == "stray"


@pytest.mark.parametrize("sql", [
    "UPDATE records SET client_name = 'Someone else' WHERE seq = 3",
    "DELETE FROM holds", "UPDATE numbers SET status = 'issued'",
    "INSERT INTO words (rowid, text) VALUES (99, 'x')", "DELETE FROM files WHERE seq = 2",
])
def test_index_that_disagrees(filled, sql):
    """ensures that a changed index is noticed, and made right from log and cards."""
    with filled.writing():
        filled.commit("hold", {"client": "c1"}, {"reason": "claim"})
    filled.index.db.execute(sql)
    assert check(filled).first.kind == "index"
    filled.rebuild()
    assert check(filled).good


@pytest.mark.parametrize("spoil", [
    lambda p: p.unlink(),
    lambda p: p.write_bytes(b"not a database at all" * 400),
    lambda p: p.write_bytes(p.read_bytes()[:5000]),
    lambda p: p.write_bytes(b""),
])
def test_lost_index_is_made_again(filled, spoil):
    """ensures that a missing or damaged index costs nothing: it is made from the files."""
    before = filled.index.dump()
    filled.close()
    for side in filled.disk.root.glob("index.sqlite-*"):
        side.unlink()
    spoil(filled.disk.path("index.sqlite"))
    with opened(filled) as again:
        assert again.index.dump() == before
        assert check(again).good


def test_broken_log_is_not_written_on(filled):
    """ensures that nothing is entered after a break, and that the break can be looked at."""
    lines = lines_of(filled)
    rewrite(filled, lines[:-1])
    with opened(filled) as again:
        with pytest.raises(ArchiveBroken, match="removed"):
            issue_one(again)
        with pytest.raises(ArchiveBroken):
            again.writing().__enter__()
        assert len(find(again)) == 4
    assert lines_of(filled) == lines[:-1]


def test_links_are_not_followed(filled, tmp_path):
    """ensures that no link in the folder leads the archive to other files."""
    filled.close()
    outside = tmp_path / "outside.txt"
    outside.write_text("x")
    for name in ("index.sqlite", "lock", "log.jsonl"):
        copy = tmp_path / f"copy-{name}"
        shutil.copytree(filled.disk.root, copy)
        (copy / name).unlink()
        (copy / name).symlink_to(outside)
        with pytest.raises((ArchiveBroken, ArchiveFault)):
            Store.open(copy).writing().__enter__()
    copy = tmp_path / "copy-objects"
    shutil.copytree(filled.disk.root, copy)
    (copy / "objects").rename(tmp_path / "elsewhere")
    (copy / "objects").symlink_to(tmp_path / "elsewhere")
    with Store.open(copy) as store:
        assert not check(store).good
    assert outside.read_text() == "x"


def test_read_only_archive(filled):
    """ensures that an archive on a read-only medium is searched and checked, never changed."""
    filled.close()
    before = every_byte(filled.disk.root)
    code = os.fork()
    if code == 0:  # as somebody without rights, in a process of its own
        try:
            for path in [filled.disk.root, *filled.disk.root.rglob("*")]:
                path.chmod(0o555 if path.is_dir() else 0o444)
            for above in filled.disk.root.parents:
                if not above.stat().st_mode & stat.S_IXOTH:  # pytest's own folders
                    above.chmod(0o755)
            if os.getuid() == 0:
                os.setuid(65534)
            with Store.open(filled.disk.root) as store:
                good = store.read_only and check(store).good and len(find(store)) == 4
                try:
                    issue_one(store)
                except ArchiveFault:
                    os._exit(0 if good else 3)
        except BaseException:
            os._exit(4)
        os._exit(5)
    assert os.waitstatus_to_exitcode(os.waitpid(code, 0)[1]) == 0
    assert every_byte(filled.disk.root) == before


def test_locked_archive(filled):
    """ensures that a second writer waits, and is told when it takes too long."""
    with filled.writing(), opened_without_wait(filled) as other, pytest.raises(
            ArchiveFault, match="in use"), other.disk.locked(wait=0.05):
        pass


def opened_without_wait(store):
    other = Store(type(store.disk)(store.disk.root), ticking())
    other.index = type(store.index)(None)
    return other


def test_hostile_card(store):
    """ensures that a card with names of folders in it leads nowhere."""
    store.commit("add", {"client": "c1"}, card_of("Bram", [b"x"], files=[
        {"role": "case", "name": "../../etc/passwd", "sha256": "../../x", "size": 1,
         "stored": True}]))
    assert check(store).good or check(store).first.kind in ("missing", "index")
    with pytest.raises(ArchiveBroken):
        store.content("../../x")


def test_secrets_of_sqlite(filled):
    """ensures that deleted rows are overwritten, not only unlinked."""
    assert filled.index.query("PRAGMA secure_delete") == [(1,)]
    assert sqlite3.sqlite_version_info >= (3, 9)  # FTS5


def test_erased_person_is_gone_to_the_last_byte(filled):
    """ensures that no byte of the folder holds a name of an erased client, and the chain holds."""
    person = filled.client_named(PEOPLE[0])
    seqs = [s for (s,) in filled.index.query("SELECT seq FROM lines WHERE client = ?", (person,))]
    names = (b"odessa", "núñez".encode(), "nuñez".encode(), b"nunez")
    assert any(name in every_byte(filled.disk.root) for name in names)
    filled.commit("erase", {"client": person, "erases": seqs, "cause": "request"})
    content = every_byte(filled.disk.root)
    assert not [name for name in names if name in content]
    assert check(filled).good and check(filled).erased == 4
    assert [r.client for r in find(filled, Search(status="issued"))] == [PEOPLE[1]]
    assert [r.status for r in find(filled)].count("erased") == 3
    filled.rebuild()
    assert check(filled).good
    assert issue_one(filled, PEOPLE[0], year=2027) == "QF-2027-0003"  # its number stays taken


def test_erasing_waits_for_a_reader(filled):
    """ensures that an erasure is not called done while another process holds old pages."""
    reader = sqlite3.connect(filled.disk.path("index.sqlite"), isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM records").fetchall()
    filled.index.db.execute("PRAGMA busy_timeout = 50")
    with pytest.raises(ArchiveFault):
        filled.commit("erase", {"client": "c0", "erases": [2], "cause": "request"})
    reader.execute("COMMIT")
    reader.close()
    with opened(filled) as again:  # the next opening finishes it
        assert not again.disk.exists("pending.json")
        assert check(again).good
    assert b"qf-2027-0001 for odessa" not in every_byte(Path(filled.disk.root))
