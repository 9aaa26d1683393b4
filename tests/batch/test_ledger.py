"""The ledger: what was made from what, in whatever state the file is."""

import errno
import os
from dataclasses import replace

import pytest
from batch_fakes import figures

from loambrief.batch import ledger as module
from loambrief.batch.ledger import (
    Ledger,
    LedgerRecord,
    PlacedFile,
    inputs_unchanged,
    program_digest,
)
from loambrief.batch.work import CaseStatus, Input, Options


def record(path="a.yaml", case_id="a", **changes):
    files = (PlacedFile(f"ash/{case_id}.pdf", "0" * 64, 3, 5),)
    options = Options(twins=("html",)).as_data()
    made = LedgerRecord(case_id, path, "Ash", "ash", CaseStatus.DONE, "p", options, "d",
                  (Input("a.yaml", "1" * 64),), files, figures(case_id, "Ash"), (), ("w",))
    return replace(made, **changes)


def test_what_is_written_is_read(tmp_path):
    """ensures that records, figures and documents come back as they were."""
    ledger = Ledger(tmp_path / "ledger.jsonl")
    ledger.add(record())
    ledger.add(record("b.yaml", "b"))
    ledger.add(PlacedFile("summary.csv", "2" * 64, 1, 1))
    again = Ledger.read(ledger.file)
    assert again.records == ledger.records and again.documents == ledger.documents
    assert again.own == ledger.own and again.damaged == 0
    again.rewrite()
    assert Ledger.read(ledger.file).records == ledger.records


def test_last_record_counts_but_all_files_are_own(tmp_path):
    """ensures that files of an earlier record are still known as the batch's."""
    ledger = Ledger(tmp_path / "ledger.jsonl")
    ledger.add(record())
    newer = (PlacedFile("ash/a.pdf", "3" * 64, 4, 6),)
    ledger.add(record(files=newer))
    again = Ledger.read(ledger.file)
    assert again.records["a.yaml"].files == newer and len(again.own["ash/a.pdf"]) == 2


@pytest.mark.parametrize("damage", [
    b"\xff\xfe\x00garbage", b"{\"case\":", b"[]\n7\nnull\n\"x\"", b"{\"case\":\"a\"}",
    b"{\"document\":[1]}",
])
def test_damage_costs_lines_not_runs(tmp_path, damage):
    """ensures that every line that can be read still counts."""
    ledger = Ledger(tmp_path / "ledger.jsonl")
    ledger.add(record())
    with ledger.file.open("ab") as stream:
        stream.write(damage)
    ledger.add(record("b.yaml", "b"))
    again = Ledger.read(ledger.file)
    assert set(again.records) == {"a.yaml", "b.yaml"} and again.damaged >= 1


def test_no_ledger_or_a_folder_in_its_place(tmp_path):
    """ensures that a missing or impossible ledger is an empty one."""
    assert not Ledger.read(tmp_path / "none").records
    assert Ledger.read(tmp_path).damaged == 1


def test_full_disk_leaves_the_ledger_as_it_was(tmp_path, monkeypatch):
    """ensures that a record which could not be written leaves no trace."""
    ledger = Ledger(tmp_path / "ledger.jsonl")
    ledger.add(record())
    before = ledger.file.read_bytes()

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(module.os, "fsync", full)
    with pytest.raises(OSError):
        ledger.add(record("b.yaml", "b"))
    with pytest.raises(OSError):
        ledger.rewrite()
    assert ledger.file.read_bytes() == before
    assert "b.yaml" not in ledger.records and os.listdir(tmp_path) == ["ledger.jsonl"]


def test_inputs_are_compared_by_content(tmp_path):
    """ensures that a touched file is unchanged, a changed or missing profile is not."""
    for name in ("case.yaml", "adviser.yaml"):
        (tmp_path / name).write_text(name)
    inputs = tuple(Input(n, module.sha256_of(tmp_path / n)) for n in ("case.yaml", "adviser.yaml"))
    kept = record(inputs=inputs)
    os.utime(tmp_path / "case.yaml", (1, 1))
    assert inputs_unchanged(kept, tmp_path)
    (tmp_path / "adviser.yaml").write_text("another")
    assert not inputs_unchanged(kept, tmp_path)
    (tmp_path / "adviser.yaml").unlink()
    assert not inputs_unchanged(kept, tmp_path)
    assert not inputs_unchanged(record(inputs=()), tmp_path)


def test_program_is_part_of_what_a_case_was_made_from(monkeypatch):
    """ensures that another version of the program, or of a library, makes everything anew."""
    first = program_digest()
    program_digest.cache_clear()
    monkeypatch.setattr(module, "version", lambda name: "0.0")
    second = program_digest()
    program_digest.cache_clear()
    monkeypatch.setattr(module, "__version__", "99")
    third = program_digest()
    program_digest.cache_clear()
    assert len({first, second, third}) == 3
