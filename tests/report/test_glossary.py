"""The glossary: the terms a document uses, no others, each reached from its first use."""

from __future__ import annotations

import dataclasses
import io

import pypdf
import pytest
from model_texts import inside, links, texts
from sample_reports import CASES, report

from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import Annex, Heading, Paragraph, Table, opened, plain
from loambrief.report.glossary import TERMS, Term, all_terms, with_glossary
from loambrief.report.parts import CalculationList, FindingBlock, SourceList, Summary
from loambrief.report.text import Writer


def _split(name):
    """Blocks before the glossary, and its table, which ends the document."""
    blocks = opened(report(name).blocks)
    heading, table = blocks[-2:]
    assert isinstance(heading, Heading) and heading.anchor == "glossary"
    return blocks[:-2], table


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_term_is_explained(language):
    """ensures that each term has a name, spellings to look for and a short meaning."""
    terms = all_terms(Writer(language))
    assert {t.key for t in terms} == set(TERMS) and len(terms) == len(TERMS)
    for term in terms:
        assert term.name and all(f.strip() == f and f for f in term.finds)
        assert 3 <= len(term.meaning.split()) <= 32 and term.meaning.endswith(".")
        assert term.find(term.name) or term.key in ("tie_up", "split_depth"), term.name
    assert [t.name for t in terms][:2] == (
        ["ADF, acid detergent fiber", "Base saturation"] if language == "en"
        else ["Brix", "C:N"])


@pytest.mark.parametrize("name", CASES)
def test_only_what_is_used_is_listed(name):
    """ensures that exactly the terms that the read parts use stand in the glossary."""
    before, table = _split(name)
    read = [b if not isinstance(b, FindingBlock) else dataclasses.replace(b, blocks=())
            for b in before if not isinstance(b, CalculationList | SourceList)]
    text = "\n".join(t for b in read for t in texts(b))
    charts = "\n".join(s for i in inside(tuple(read)) if hasattr(i, "alt")
                       for s in (i.title, i.subtitle, i.note, i.alt))
    listed = {row.cells[0] for row in table.rows}
    for term in all_terms(Writer()):
        if term.find(text) or term.find(charts):
            assert term.name in listed, term.name
        if term.name in listed:
            assert _anywhere(term, text + charts), term.name


def _anywhere(term, text):
    """A spelling somewhere, in whatever company."""
    return any(f.lower() in text.lower() for f in term.finds)


@pytest.mark.parametrize("name", CASES)
def test_first_use_leads_there(name):
    """ensures that links to the glossary start at findings and paragraphs, each term once,
    and that page 1 has none."""
    before, table = _split(name)
    found = [link for link in links(before) if link.startswith("#g-")]
    assert found and len(found) == len(set(found))
    assert {link[1:] for link in found} <= {row.anchor for row in table.rows}
    summary = next(b for b in before if isinstance(b, Summary))
    assert not any(link.startswith("#g-") for link in links(summary))


def test_linking_changes_no_word():
    """ensures that a text reads the same with its link."""
    blocks = [Paragraph("The CEC, and again the CEC of this soil, is low."),
              FindingBlock("Salt", "noted", "noted", body=("ECe of 4 dS/m.", "A SAR of 13"))]
    made = with_glossary(blocks, [], Writer())
    assert plain(made[0].text) == blocks[0].text
    assert [plain(t) for t in made[1].body] == list(blocks[1].body)
    assert [s.link for s in made[0].text if not isinstance(s, str)] == ["#g-cec"]
    assert {row.cells[0].split(",")[0] for row in made[3].rows} == {"CEC", "ECe", "SAR"}


def test_no_term_no_glossary():
    """ensures that a document without such words gets no empty section."""
    blocks = [Heading(1, "Plain"), Paragraph("Nothing to explain.")]
    assert with_glossary(blocks, [], Writer()) == blocks


@pytest.mark.parametrize("text, place", [
    ("a CEC of 12", "CEC"), ("CEC", "CEC"), ("CECs", None), ("cec", None), ("x-CEC", None),
    ("Exchange capacity", "Exchange capacity"), ("exchange capacities", None), ("", None),
    ("İİ CEC", "CEC"), ("NCEC then CEC.", "CEC"),
])
def test_words_are_found_whole(text, place):
    """ensures that a term is found by itself only, in small letters or as it begins a
    sentence, and abbreviations only as they are written."""
    found = Term("cec", "", "", ("CEC", "exchange capacity")).find(text)
    assert (None if found is None else text[found]) == place


@pytest.mark.parametrize("language", ["en", "es"])
def test_longest_glossary_is_a_page(language):
    """ensures that even with every term the glossary takes no more than one page, set small
    like the annex it ends."""
    writer = Writer(language)
    blocks = with_glossary(
        [Paragraph("; ".join(t.finds[0] for t in all_terms(writer)))], [], writer)
    table = blocks[2]
    assert isinstance(table, Table) and len(table.rows) == len(TERMS)
    document = dataclasses.replace(report("acid_corn_ohio"), attachments=(), language=language,
                                   blocks=(Annex("Annex", (blocks[1], table)),))
    data = render_pdf(document)
    assert len(pypdf.PdfReader(io.BytesIO(data)).pages) == 1
