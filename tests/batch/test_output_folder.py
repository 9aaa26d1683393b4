"""Files put in place: whole, all or none, and never over what is not ours."""

import errno
import os

import pytest
from test_ledger import record

from loambrief.batch import ledger, output_folder
from loambrief.batch.output_folder import OutputFolder
from loambrief.errors import NotOurs


@pytest.fixture
def place(tmp_path):
    """An opened store."""
    (tmp_path / "out" / ".loambrief").mkdir(parents=True)
    opened = OutputFolder(tmp_path / "out")
    opened.open()
    return opened


FILES = {"ash/a.pdf": b"%PDF", "ash/a.json": b"{}"}


def left(place):
    """Every file of the output but the ledger."""
    return sorted(p.relative_to(place.output).as_posix() for p in place.output.rglob("*")
                  if p.is_file() and p.name != "ledger.jsonl")


def test_files_are_placed_and_known(place):
    """ensures that both files stand, are the batch's, and may be replaced by it."""
    kept = place.put_case(record(), FILES)
    assert left(place) == ["ash/a.json", "ash/a.pdf"] and len(kept.files) == 2
    place.put_case(record(), {**FILES, "ash/a.pdf": b"%PDF 2"})
    assert place.path("ash/a.pdf").read_bytes() == b"%PDF 2"


def test_foreign_files_are_refused(place):
    """ensures that a file no batch made stands, unless replacing is asked for."""
    place.path("ash").mkdir()
    place.path("ash/a.json").write_bytes(b"mine")
    with pytest.raises(NotOurs, match=r"a\.json was not made by a batch"):
        place.put_case(record(), FILES)
    assert left(place) == ["ash/a.json"] and place.path("ash/a.json").read_bytes() == b"mine"
    place.force = True
    place.put_case(record(), FILES)
    assert place.path("ash/a.json").read_bytes() == b"{}"


def test_changed_files_are_refused(place):
    """ensures that a page somebody wrote on is not lost."""
    place.put_case(record(), FILES)
    place.path("ash/a.pdf").write_bytes(b"%PDx")
    with pytest.raises(NotOurs, match="changed since"):
        place.put_case(record(), FILES)


def test_same_bytes_are_adopted(place):
    """ensures that files a killed run left behind, or a lost ledger, bar nothing."""
    place.path("ash").mkdir()
    place.path("ash/a.pdf").write_bytes(b"%PDF")
    place.put_case(record(), FILES)
    assert place.ledger.owns("ash/a.pdf", place.path("ash/a.pdf"))


@pytest.mark.parametrize("what", ["open", "fsync", "replace 1", "replace 2"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EDQUOT, errno.EACCES])
def test_nothing_is_left_of_a_failed_write(place, monkeypatch, what, code):
    """ensures that a full or read-only disk leaves no file, whole, half or temporary."""
    count = 0

    def fails(*args, **kwargs):
        nonlocal count
        count += 1
        if what.endswith("2") and count < 2:
            return real(*args, **kwargs)
        raise OSError(code, os.strerror(code))

    if what == "open":
        real = None
        monkeypatch.setattr(output_folder.Path, "open", fails)
    elif what == "fsync":
        real = None
        monkeypatch.setattr(output_folder.os, "fsync", fails)
    else:
        real = os.replace
        monkeypatch.setattr(output_folder.os, "replace", fails)
    with pytest.raises(OSError):
        place.put_case(record(), FILES)
    monkeypatch.undo()
    assert left(place) == []
    place.put_case(record(), FILES)
    assert left(place) == ["ash/a.json", "ash/a.pdf"]


def test_earlier_files_survive_a_failed_write(place, monkeypatch):
    """ensures that the advisory that stood before still stands, and is still the batch's."""
    place.put_case(record(), FILES)

    def full(handle):
        raise OSError(errno.ENOSPC, "full")

    monkeypatch.setattr(output_folder.os, "fsync", full)
    with pytest.raises(OSError):
        place.put_case(record(), {"ash/a.pdf": b"new", "ash/a.json": b"new"})
    monkeypatch.undo()
    assert place.path("ash/a.pdf").read_bytes() == b"%PDF"
    again = ledger.Ledger.read(place.ledger.file)
    assert again.owns("ash/a.pdf", place.path("ash/a.pdf"))


def test_links_out_of_the_folder_are_refused(place, tmp_path):
    """ensures that nothing is written through a link to another place."""
    (tmp_path / "elsewhere").mkdir()
    place.path("ash").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(NotOurs, match="leads out"):
        place.put_case(record(), FILES)
    assert not list((tmp_path / "elsewhere").iterdir())


def test_a_file_where_the_client_folder_should_be(place):
    """ensures that a file in the way is named, and stays."""
    place.path("ash").write_bytes(b"a note")
    with pytest.raises(NotOurs, match="is not a folder"):
        place.put_case(record(), FILES)
    assert place.path("ash").read_bytes() == b"a note"


def test_leftovers_of_a_killed_run_are_cleared(place):
    """ensures that half-written files never reach a client's folder and go at the next run."""
    (place.stage / "0.part").write_bytes(b"half")
    OutputFolder(place.output).open()
    assert left(place) == []


def test_documents_are_made_only_from_other_parts(place):
    """ensures that documents stand while their parts do, and are made again when one is gone,
    the parts are others, or making anew is asked for; also after the ledger was read again."""
    made = []

    def make():
        made.append(1)
        yield "summary.csv", b"a"
        yield "summary.xlsx", b"b"

    both = [place.path("summary.csv"), place.path("summary.xlsx")]
    assert place.put_documents("summary", "p", make) == both
    assert place.put_documents("summary", "p", make) == [] and len(made) == 1
    place.close()
    again = OutputFolder(place.output)
    again.open()
    assert again.put_documents("summary", "p", make) == [] and len(made) == 1
    assert again.put_documents("summary", "q", make) == both
    both[1].unlink()
    assert again.put_documents("summary", "q", make) == both
    again.force = True
    assert again.put_documents("summary", "q", make) == both and len(made) == 4
    again.force = False
    both[0].write_bytes(b"edited by hand")
    with pytest.raises(NotOurs, match="changed since"):
        again.put_documents("summary", "q", make)
