"""Bundles and print packs: the advisories as they are, found by contents, marks and labels."""

import io
import re
from pathlib import Path

import pikepdf
import pytest
from accessible import judged
from batch_fakes import figures
from pdf_text import page_texts
from pypdf import PdfReader

from loambrief.batch import bundle
from loambrief.batch.bundle import bundles, print_packs
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.request import CaseEntry
from loambrief.batch.work import CaseOutcome, CaseStatus, Options
from loambrief.errors import RenderFault
from loambrief.pipeline import make_advisory
from loambrief.render.join import BookPart, join
from loambrief.render.pdfa import _without_fields

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
CASES = {"a1": "saline_alfalfa_utah", "b1": "vegetables_new_jersey"}


@pytest.fixture(scope="module")
def pdfs():
    """Two real advisories."""
    return {key: make_advisory(SAMPLES / name / "case.yaml").pdf for key, name in CASES.items()}


@pytest.fixture(scope="module")
def place(tmp_path_factory, pdfs):
    """A store with two advisories of Ash and one of Birch, and its entries in order."""
    tmp_path = tmp_path_factory.mktemp("bundles")
    store = OutputFolder(tmp_path)
    entries = []
    for number, (case_id, client) in enumerate((("a1", "Ash"), ("a2", "Ash"), ("b1", "Birch"))):
        folder = client.lower()
        (tmp_path / folder).mkdir(exist_ok=True)
        (tmp_path / folder / f"{case_id}.pdf").write_bytes(pdfs.get(case_id, pdfs["b1"]))
        outcome = CaseOutcome(number, f"{case_id}.yaml", CaseStatus.DONE, case_id, client,
                              figures=figures(case_id, client))
        entries.append(CaseEntry(outcome, folder))
    return store, entries


@pytest.fixture(scope="module")
def bundled(place):
    """The bundles of both clients, by name."""
    store, entries = place
    return dict(bundles(entries, store, Options()))


def pages(pdf):
    return PdfReader(io.BytesIO(pdf)).pages


def outline(reader):
    """Bookmarks as (title, page number, depth)."""
    found = []

    def walk(items, depth):
        for item in items:
            if isinstance(item, list):
                walk(item, depth + 1)
            else:
                found.append((item.title, reader.get_destination_page_number(item), depth))

    walk(reader.outline, 0)
    return found


def test_bundles_hold_each_client_alone(bundled, pdfs):
    """ensures one bundle a client, with contents and every page of each advisory."""
    made = bundled
    assert list(made) == ["ash/_bundle-ash.pdf", "birch/_bundle-birch.pdf"]
    first, second = len(pages(pdfs["a1"])), len(pages(pdfs["b1"]))
    reader = PdfReader(io.BytesIO(made["ash/_bundle-ash.pdf"]))
    assert len(reader.pages) == 1 + first + second
    contents = re.sub(r"\s+", " ", reader.pages[0].extract_text())
    assert "Ash: 2 advisories" in contents and str(first + 1) in contents
    assert reader.page_labels[:2] == ["i", "1"] and reader.page_labels[first + 1] == str(first + 1)
    assert page_texts(made["ash/_bundle-ash.pdf"])[1:1 + first] == page_texts(pdfs["a1"])


def test_bookmarks_and_links_lead_to_their_pages(bundled, pdfs):
    """ensures that marks of each advisory stand below its own, and links stay inside it."""
    made = bundled["ash/_bundle-ash.pdf"]
    reader = PdfReader(io.BytesIO(made))
    first = len(pages(pdfs["a1"]))
    marks = outline(reader)
    tops = [(title, page) for title, page, depth in marks if depth == 0]
    assert tops[1:] == [("Field a1 (a1)", 1), ("Field a2 (a2)", 1 + first)]
    own = [(t, p + 1, d + 1) for t, p, d in outline(PdfReader(io.BytesIO(pdfs["a1"])))]
    assert [m for m in marks if 1 <= m[1] <= first and m[2] > 0] == own
    numbers = {page.indirect_reference.idnum: n for n, page in enumerate(reader.pages)}
    links = 0
    for index, page in enumerate(reader.pages):
        for note in page.get("/Annots", []):
            target = note.get_object().get("/Dest")
            if target is not None:
                links += 1
                low, high = (1, first) if index <= first else (first + 1, len(reader.pages))
                assert low <= numbers[target[0].idnum] <= high
    assert links > 20


def test_tags_and_fields_of_all_parts_survive(bundled, tmp_path, accessibility):
    """ensures that a joined file is tagged through and through, with fields of unique names."""
    made = bundled["ash/_bundle-ash.pdf"]
    accessibility(made, tmp_path)
    with pikepdf.open(io.BytesIO(made)) as pdf:
        names = [str(f.T) for f in pdf.Root.AcroForm.Fields]
        assert len(names) == len(set(names)) and {n[0] for n in names} == {"1", "2"}
        numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
        keys = [int(numbers[i]) for i in range(0, len(numbers), 2)]
        assert keys == sorted(set(keys))
        with _without_fields(pdf):
            findings = [str(f) for f in pikepdf.pdfa.check(pdf, "3b").findings]
    for finding in findings:  # what the checker cannot judge, as for a single advisory
        assert re.search("pdfuaid|pdfaExtension|pdfaSchema|pdfaProperty|conformance", finding)


@pytest.fixture
def accessibility():
    """Checks a file with an independent PDF/UA checker."""

    def check(pdf, folder):
        path = folder / "joined.pdf"
        path.write_bytes(pdf)
        assert not judged(path)

    return check


def test_print_pack_for_both_sides(place, pdfs):
    """ensures that each advisory starts on a right-hand page and is labelled by its case."""
    store, entries = place
    made = dict(print_packs(entries, store, Options()))
    assert list(made) == ["print-pack.pdf"]
    reader = PdfReader(io.BytesIO(made["print-pack.pdf"]))
    starts = {title: page for title, page, depth in outline(reader) if depth == 0}
    for title in ("Ash, Field a1 (a1)", "Ash, Field a2 (a2)", "Birch, Field b1 (b1)"):
        assert starts[title] % 2 == 0  # counted from 0: an odd page on paper
    labels = reader.page_labels
    assert labels[0] == "i"
    for case_id in ("a1", "a2", "b1"):
        page = starts[next(t for t in starts if f"({case_id})" in t)]
        assert labels[page] == f"{case_id} 1" and labels[page + 1] == f"{case_id} 2"
    blank = [n for n, text in enumerate(page_texts(made["print-pack.pdf"])) if not text.strip()]
    assert all(n % 2 == 1 for n in blank)


def test_long_packs_come_in_volumes(place, monkeypatch):
    """ensures that no file grows without end and no advisory is divided."""
    store, entries = place
    monkeypatch.setattr(bundle, "MOST_PAGES", 1)
    made = dict(print_packs(entries, store, Options()))
    assert list(made) == ["print-pack-1.pdf", "print-pack-2.pdf", "print-pack-3.pdf"]
    front = pages(made["print-pack-2.pdf"])[0].extract_text()
    assert "volume 2 of 3" in re.sub(r"\s+", " ", front)


def test_same_bytes_twice(place, bundled):
    """ensures that joined files are the same bytes each time."""
    store, entries = place
    assert dict(bundles(entries, store, Options())) == bundled


def test_untagged_parts_are_refused(pdfs):
    """ensures that a file without tags is not slipped in."""
    with pikepdf.new() as bare:
        bare.add_blank_page()
        out = io.BytesIO()
        bare.save(out)
    with pytest.raises(RenderFault, match="without tags"):
        join(pdfs["b1"], [BookPart("bare", out.getvalue)])


def test_annexes_follow_the_advisories(place, pdfs, tmp_path):
    """ensures that a bundle holds the annexes after the advisories, each found by the contents
    and a bookmark, and that the print pack holds them only if asked for."""
    _, entries = place
    second = OutputFolder(tmp_path)
    for entry in entries:
        (tmp_path / entry.folder).mkdir(exist_ok=True)
        case_id = entry.outcome.case_id
        first = pdfs.get(case_id, pdfs["b1"])
        (tmp_path / entry.folder / f"{case_id}.pdf").write_bytes(first)
        (tmp_path / entry.folder / f"{case_id}.annex.pdf").write_bytes(pdfs["a1"])
    made = dict(bundles(entries, second, Options()))
    reader = PdfReader(io.BytesIO(made["birch/_bundle-birch.pdf"]))
    marks = [(title, page) for title, page, depth in outline(reader) if depth == 0]
    assert marks[-1] == ("North (b1): Technical annex", 1 + len(pages(pdfs["b1"]))) or (
        marks[-1][0].endswith(": Technical annex"))
    assert len(reader.pages) == 1 + len(pages(pdfs["b1"])) + len(pages(pdfs["a1"]))
    assert "Technical annex" in reader.pages[0].extract_text()
    (_, bare), = print_packs(entries, second, Options())
    (_, whole), = print_packs(entries, second, Options(), annexes=True)
    assert len(pages(whole)) > len(pages(bare))
    assert sum(title.endswith(": Technical annex")
               for title, _, _ in outline(PdfReader(io.BytesIO(whole)))) == len(entries)
