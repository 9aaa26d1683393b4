"""What the adviser set stays with the record: issued, replaced, compared, redacted."""

from __future__ import annotations

import json
import shutil
from contextlib import nullcontext
from pathlib import Path

import pytest
from pdf_text import page_texts
from record_builders import clock, copied, told, unprinted

from loambrief import pipeline
from loambrief.archive.store import Store
from loambrief.record import redact
from loambrief.record.issue import issue
from loambrief.record.redact import preview
from loambrief.record.rerender import rerender
from loambrief.record.supersede import supersede

SAMPLE = Path(__file__).parents[2] / "sample_inputs" / "own_plan_michigan"
DROP = "The south side is under water until March."
TYPED = {
    "reason: The grower wants the foxtail kept off the road.":
        "reason: Maren Teague wants the foxtail kept off the Hollis road.",
    "until: 2027-10-20, condition: the price of potash is below 400 a ton":
        "until: 2027-10-20, condition: Ilka Brandvold sells below 400 a ton",
    "name: spinner spreader": "name: Brandvold custom spinner",
    "reason: The milk buyer takes no feed": "reason: Ilka Brandvold takes no feed",
    "cautions: [Keep the mower":
        "cautions: ['Ask 989-555-0177, b@kin.example', Ask Maren Teague; keep the mower",
}
"""Names in the adviser's own entries."""
NAMES = ("brandvold", "maren", "teague", "cutoff lane", "hollis", "555-0177", "kin.example",
         "pivot road")


def changed(folder: Path, changes: dict[str, str], set_by: str = "") -> Path:
    """A copy of the sample with texts replaced."""
    shutil.copytree(SAMPLE, folder)
    case = folder / "case.yaml"
    text = case.read_text(encoding="utf-8")
    for old, new in changes.items():
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    case.write_text(text, encoding="utf-8")
    if set_by:
        plan = folder / "profiles" / "nitrogen_plan.yaml"
        old = plan.read_text(encoding="utf-8")
        plan.write_text(old.replace("set_by: Ruben Ostrander", f"set_by: {set_by}"),
                        encoding="utf-8")
    return case


def words(pdf: bytes) -> str:
    return " ".join(" ".join(page_texts(pdf)).split()).replace("\u00a0", " ")


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    folder = tmp_path_factory.mktemp("own") / "records"
    with Store.create(folder, clock=clock()) as store:
        return folder, issue(SAMPLE / "case.yaml", store)


def test_an_issued_advisory_prints_the_reasons(issued):
    """ensures that page 1 and the plan point to what was set, each reason is printed, the annex
    holds the program's figures beside them, and the same comes out again later."""
    folder, made = issued
    stem = f"{made.number}-r1"
    pages = page_texts(made.files[f"{stem}.pdf"])
    first, whole = " ".join(pages[0].split()), words(made.files[f"{stem}.pdf"])
    assert "The adviser set" in first and whole.count("The adviser set") >= 2
    annex = words(made.files[f"{stem}.annex.pdf"])
    data = json.loads(made.files[f"{stem}.json"])["adviser_set"]
    reasons = {r for d in data["differences"] for r in d["reasons"]}
    assert len(reasons) >= 10
    assert not [r for r in reasons if r not in annex]
    assert all(r in whole for r in reasons)
    assert all(d["program"] or d["adviser"] for d in data["differences"])
    with Store.open(folder, clock=clock(4)) as store:
        again = rerender(store, made.number)
    assert (again.same_pdf, again.same_annex, again.same_data) == (True, True, True)


def test_a_revision_and_a_comparison_tell_what_was_set_anew(issued, tmp_path,
                                                             advisories_unprinted):
    """ensures that an own entry that changed is told by both, with the entry's place."""
    folder, made = issued
    new = changed(tmp_path / "case", {DROP: "The south side drains late.",
                                      "rate: 60 lb/ac": "rate: 80 lb/ac"})
    found = pipeline.compare(SAMPLE / "case.yaml", new, ())
    compared = json.dumps(found.as_json())
    assert "own.starter" in compared and "The south side drains late." in compared
    with Store.open(copied(folder, tmp_path / "records"), clock=clock(5)) as store:
        later = supersede(made.number, new, store, reason="Better seed.", kind="new-data")
    text = told(later.files[f"{made.number}-r2.pdf"])
    annex = told(later.files[f"{made.number}-r2.annex.pdf"])
    assert "Better seed." in text
    assert "80 lb/ac" in text and "60 lb/ac" in text + annex
    assert "The south side drains late." in text


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_redacted_copy_holds_no_name_of_an_own_entry(tmp_path, language):
    """ensures that names, telephone, mail and landmarks in reasons, cautions, conditions,
    machines and of who set nitrogen are gone from every part of both documents and the data,
    page, metadata and attachments, in both languages, and the plan stays the same.

    In English the copy is drawn and read; in Spanish, what it would be drawn from is read.
    """
    path = changed(tmp_path / "case", {**TYPED, "case:\n": f"case:\n  language: {language}\n"},
                   set_by="Ilka Brandvold")
    with Store.create(tmp_path / "records", clock=clock()) as store:
        with unprinted():
            made = issue(path, store)
        assert "Brandvold" in told(made.files[f"{made.number}-r1.pdf"])
        stays = [at for at, said in preview(made.number, store).stays if "pivot road" in said]
        assert stays == ["own_actions[2].what"]  # shown: what is done cannot be left out
        with unprinted() if language == "es" else nullcontext():
            copy = redact.redact(made.number, store, words=["Hollis", "pivot road"])
            strings = [(name, where, " ".join(said.split()).casefold())
                       for name, content in copy.files.items()
                       for where, said in redact.strings_of(name, content)]
    stem = f"{made.number}-r1-redacted"
    assert set(copy.files) == {f"{stem}.pdf", f"{stem}.annex.pdf", f"{stem}.json"}
    for name, where, said in strings:
        assert not [n for n in NAMES if n in said], (name, where)
    raw = json.loads(copy.files[f"{stem}.json"])
    assert any("redacted copy" in said for *_, said in strings) is (language == "en")
    before, after = (json.loads(made.files[f"{made.number}-r1.json"])["actions"], raw["actions"])
    assert [(a["id"], a["rank"], a["rate"]) for a in before] == [
        (a["id"], a["rank"], a["rate"]) for a in after]
