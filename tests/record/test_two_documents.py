"""The two documents of a record: frozen together, bound by name and digest, told apart."""

from __future__ import annotations

import io
import json

import pypdf
import pytest
from pdf_text import page_texts
from record_builders import CLIENT, NUMBER, SAMPLE, clock, told

from loambrief import pipeline
from loambrief.archive.canonical import sha256
from loambrief.archive.facts import FactState, Inspection
from loambrief.archive.store import Store
from loambrief.record import verify as verifying
from loambrief.record.export import export_client
from loambrief.record.issue import issue
from loambrief.record.rerender import rerender
from loambrief.record.withdraw import withdraw

STEM = f"{NUMBER}-r1"


def text(data):
    return " ".join(" ".join(page_texts(data)).split()).replace("\u00a0", " ")


def test_the_advisory_names_its_annex(first):
    """ensures that the data inside the advisory and the words above the signatures name the
    annex by file and digest, and that the annex holds no file of its own."""
    made = first[1].files
    annex = made[f"{STEM}.annex.pdf"]
    data = json.loads(made[f"{STEM}.json"])
    assert data["annex"] == {"file": f"{STEM}.annex.pdf", "sha256": sha256(annex)}
    words = text(made[f"{STEM}.pdf"])
    assert f"{STEM}.annex.pdf" in words
    assert sha256(annex) in words.replace(" ", "")
    assert not pypdf.PdfReader(io.BytesIO(annex)).attachments
    assert "Technical annex" in text(annex)


def test_both_are_kept_and_made_again(store, first):
    """ensures that the archive keeps both, gives both back, and makes both again alike."""
    again = issue(SAMPLE, store)
    assert again.again and again.files == first[1].files
    found = rerender(store, NUMBER)
    assert (found.same_pdf, found.same_annex, found.same_data) == (True, True, True)


def test_one_file_holds_both_parts(tmp_path, advisories_unprinted):
    """ensures that an advisory in one file ends with the annex, names no other, and is made
    again in one file."""
    with Store.create(tmp_path / "records", clock=clock()) as store:
        made = issue(SAMPLE, store, form=pipeline.Files.ONE)
        assert set(made.files) == {f"{STEM}.pdf", f"{STEM}.json"}
        assert json.loads(made.files[f"{STEM}.json"])["annex"] is None
        assert "Technical annex" in told(made.files[f"{STEM}.pdf"])
        assert rerender(store, NUMBER).same


def test_what_no_longer_holds_says_so_in_both(replaced):
    """ensures that a withdrawn advisory is handed over with the word on both documents, and one
    that was replaced before with its own."""
    withdraw(NUMBER, replaced, reason="The lab took its report back.")
    files = export_client(replaced, CLIENT)
    for stem, status, word in ((f"{NUMBER}-r2", "withdrawn", "Withdrawn"),
                               (STEM, "superseded", "Replaced")):
        for ending in (".pdf", ".annex.pdf"):
            marked = page_texts(files[f"{stem}/{stem}-{status}{ending}"])
            assert all(word in page for page in marked), (stem, ending)
            assert word not in text(files[f"{stem}/original/{stem}{ending}"]), (stem, ending)


def test_a_redacted_copy_has_two_documents(redacted):
    """ensures that the copy's annex is redacted and bound as well."""
    files = redacted.copy.files
    annex = files[f"{STEM}-redacted.annex.pdf"]
    assert json.loads(files[f"{STEM}-redacted.json"])["annex"]["sha256"] == sha256(annex)
    words = text(annex).casefold()
    assert "redacted copy" in words
    assert "pruett" not in words and "tarrow" not in words


@pytest.mark.parametrize("given, state, words", [
    (b"annex", FactState.GOOD, "is the one"), (b"annex ", FactState.BAD, "altered"),
    (None, FactState.UNKNOWN, "missing"),
])
def test_the_binding_is_checked(given, state, words):
    """ensures that an annex that is there, altered or missing is called so, by its name."""
    stated = {"annex": {"file": "a.annex.pdf", "sha256": sha256(b"annex")}}
    fact = verifying._annex(Inspection((), stated=stated), {"a.annex.pdf": given}.get)
    assert (fact.id, fact.state) == ("annex", state)
    assert "a.annex.pdf" in fact.text and words in fact.text


@pytest.mark.parametrize("stated", [
    {"file": "../a.annex.pdf", "sha256": "0"}, {"file": "/etc/passwd", "sha256": "0"},
    {"file": "", "sha256": "0"}, {"file": "a\\b", "sha256": "0"}, {"sha256": "0"}, ["a"], "x",
])
def test_an_annex_elsewhere_is_refused(stated):
    """ensures that nothing outside the folder is read because a file says so."""
    read = []
    fact = verifying._annex(Inspection((), stated={"annex": stated}), read.append)
    assert fact.state is FactState.BAD and not read
