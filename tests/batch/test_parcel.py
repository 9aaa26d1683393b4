"""Cases that travel with their files, and come back as if they had stayed."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from loambrief.batch.exchange import Exchange
from loambrief.batch.parcel import (
    could_be_read_here,
    faulty,
    inside,
    parcel_of,
    task_of,
    work_parcel,
)
from loambrief.batch.work import Stage, Status, Task, unpack, work
from loambrief.case.attached import attached
from loambrief.errors import ClusterFault

SAMPLES = Path(__file__).parents[2] / "sample_inputs"


@pytest.fixture
def away(tmp_path, monkeypatch):
    """A parcel worked off while the folder it came from is gone; gives parcel and outcome."""
    def send(name, stage=Stage.CHECK, spoil=lambda folder: None):
        home = tmp_path / "client" / "cases"
        shutil.copytree(SAMPLES / name.split("/")[0], home)
        spoil(home)
        monkeypatch.chdir(tmp_path / "client")
        path = f"cases/{name.split('/', 1)[1]}"
        parcel = parcel_of(Task(3, path, stage))
        here = work(task_of(parcel))
        home.rename(tmp_path / "hidden")
        box = tmp_path / "box"
        box.mkdir()
        there = work_parcel(replace(parcel, box=str(box)))
        assert not list(box.iterdir())
        return parcel, here, there
    return send


@pytest.mark.parametrize("name", ["three_fields_indiana/mill_piece.yaml",
                                  "history_beans_michigan/case.yaml"])
def test_a_case_is_read_elsewhere_as_here(away, name):
    """ensures that profiles, boundary and earlier cases travel, and nothing tells the place."""
    parcel, here, there = away(name)
    assert there.status is Status.CHECKED and len(parcel.files) > 2
    assert there.inputs == here.inputs and there.warnings == here.warnings
    assert unpack(there.loaded) == unpack(here.loaded)
    assert faulty(parcel, there) == ""


def test_problems_are_named_as_here(away):
    """ensures that a problem in a profile points to the user's file, not the worker's."""
    def spoil(home):
        profile = home / "profiles" / "materials.yaml"
        profile.write_text(profile.read_text(encoding="utf-8") + "extra: 1\n", encoding="utf-8")

    _, here, there = away("three_fields_indiana/mill_piece.yaml", spoil=spoil)
    assert there.status is Status.FAILED
    assert there.problems == here.problems
    assert any(p.startswith("cases/profiles/materials.yaml:") for p in there.problems)


def test_a_missing_profile_is_left_to_the_reader_here(away):
    """ensures that what cannot travel makes a failure that is judged again at home."""
    parcel, here, there = away("three_fields_indiana/mill_piece.yaml",
                               spoil=lambda home: (home / "profiles/client.yaml").unlink())
    assert here.status is there.status is Status.FAILED
    assert could_be_read_here(parcel, there)


def test_files_outside_do_not_travel(tmp_path):
    """ensures that links and paths out of a case's surroundings are never followed."""
    home = tmp_path / "deep" / "er" / "cases"
    home.mkdir(parents=True)
    (tmp_path / "secret.yaml").write_text("name: no")
    (home / "link.yaml").symlink_to(tmp_path / "secret.yaml")
    case = home / "case.yaml"
    case.write_text("client: {file: link.yaml}\nfarm: {file: ../../../secret.yaml}\n"
                    "adviser: {file: /etc/hostname}\nhistory: [../../../secret.yaml, link.yaml]\n"
                    "photos: [{file: ../../../secret.yaml}]\n")
    assert list(attached(case).files) == ["er/cases/case.yaml"]


def test_files_are_found_through_every_key(tmp_path):
    """ensures that photos, logos in profiles, guides and earlier cases are taken, once each."""
    home = tmp_path / "farm" / "2026"
    for folder in (home / "pics", home.parent / "profiles", home.parent / "2025"):
        folder.mkdir(parents=True)
    (home / "pics/one.jpg").write_bytes(b"\xff\xd8 one")
    (home / "logo.png").write_bytes(b"\x89PNG logo")
    (home / "house.yaml").write_text("guide: 1\n")
    (home / "lab.csv").write_text("a,b\n")
    (home.parent / "profiles/adviser.yaml").write_text(
        "name: A\nbrand: {logo: {file: logo.png}}\n")
    (home.parent / "2025/case.yaml").write_text("client: {file: who.yaml}\nhistory: [x.yaml]\n")
    (home.parent / "2025/who.yaml").write_text("name: B\n")
    case = home / "case.yaml"
    case.write_text('adviser: {"f\\x69le": ../profiles/adviser.yaml}\nguide: house.yaml\n'
                    "photos:\n  - file: pics/one.jpg\n  - {file: pics/one.jpg}\n"
                    "samples: [{lab: {file: lab.csv}}]\nhistory: [../2025/case.yaml]\n")
    found = attached(case)
    assert sorted(found.files) == ["farm/2025/case.yaml", "farm/2025/who.yaml",
                                   "farm/2026/case.yaml", "farm/2026/house.yaml",
                                   "farm/2026/logo.png", "farm/2026/pics/one.jpg",
                                   "farm/profiles/adviser.yaml"]
    assert next(iter(found.files)) == found.case and found.root == tmp_path.resolve()


@pytest.mark.parametrize("place", ["../x", "/x", "a/../../x", "", "a\\b", "c:/x", "a\0b"])
def test_nothing_is_unpacked_outside(tmp_path, place):
    """ensures that a worker refuses a path that leads out of its private folder."""
    with pytest.raises(ValueError, match="leads out"):
        inside(place)
    parcel = replace(parcel_of(Task(0, str(SAMPLES / "acid_corn_ohio/case.yaml"))),
                     box=str(tmp_path))
    sent = replace(parcel, files=(*parcel.files, (place, b"x")))
    outcome = work_parcel(sent)
    assert outcome.status is Status.FAILED and "unpacked" in outcome.problems[0]
    assert not list(tmp_path.iterdir())


def test_damage_is_seen(tmp_path):
    """ensures that a file that changed on the way, either way, is found by its digest."""
    parcel = parcel_of(Task(0, str(SAMPLES / "acid_corn_ohio/case.yaml"), Stage.CHECK))
    outcome = work(task_of(parcel))
    assert faulty(parcel, outcome) == ""
    other = replace(parcel, files=((parcel.files[0][0], b"other"),))
    assert "reached the worker damaged" in faulty(other, outcome)
    assert "came back damaged" in faulty(parcel, replace(outcome, status=Status.DONE))


def test_an_unreadable_case_is_not_sent(tmp_path):
    """ensures that a case that cannot be read is left to the reader here."""
    assert parcel_of(Task(0, str(tmp_path / "none.yaml"))) is None
    assert parcel_of(Task(0, str(tmp_path))) is None


def test_files_go_through_shared_storage():
    """ensures that storage of any kind takes files, gives them once, and is left empty."""
    from fsspec.implementations.memory import MemoryFileSystem

    one = Exchange("memory://exchange", "run-1")
    one.begin()
    assert one.seen() == "" and Exchange("memory://exchange", "run-2").seen()
    one.put(7, {"a.pdf": b"old", "a.json": b"{}"})
    one.put(7, {"a.pdf": b"%PDF", "a.json": b"{}"})
    assert one.take(7, ("a.pdf", "a.json")) == {"a.pdf": b"%PDF", "a.json": b"{}"}
    with pytest.raises(FileNotFoundError):
        one.take(7, ("a.pdf",))
    one.end()
    assert not any("run-1" in name for name in MemoryFileSystem.store)


@pytest.mark.parametrize("url", ["nosuch://bucket/x", "file:///proc/nowhere"])
def test_storage_that_cannot_be_used_is_named(url):
    """ensures that an unknown kind of storage, or one that cannot be written, is refused."""
    with pytest.raises(ClusterFault, match=url):
        Exchange(url, "run").begin()
