"""The glossary: the terms a document uses, no others, each reached from its first use."""

from __future__ import annotations

import dataclasses
import io
import re

import pypdf
import pytest
from jinja2 import Environment
from model_texts import inside, links, texts
from sample_reports import CASES, ROOT, report

from loambrief.findings.model import say
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import Annex, Heading, Paragraph, Table, opened, plain
from loambrief.report.glossary import TERMS, all_terms, with_glossary
from loambrief.report.parts import CalculationList, FindingBlock, SourceEntry, SourceList, Summary
from loambrief.report.terms import Marking, capital, small, terms_in, unmarked
from loambrief.report.text import Writer
from loambrief.tables import load

ELSEWHERE = ("batch", "client", "fieldsheet", "glossary", "mail", "page", "record", "sign")
"""Templates of documents without a glossary."""
MACRO = re.compile(r"{% macro (\w+)\([^)]*\) %}(.*?){% endmacro %}", re.DOTALL)
MARK = re.compile(r"\[\[([^\[\]|]+)\|([a-z_]+)\]\]")
CODE = re.compile(r"{{.*?}}|{%.*?%}|{#.*?#}", re.DOTALL)


def named(words, key):
    """Words as a template marks them."""
    return Environment(extensions=[Marking]).from_string(f"[[{words}|{key}]]").render()


def _split(name):
    """Blocks before the glossary, and its table, which ends the document."""
    blocks = opened(report(name).blocks)
    heading, table = blocks[-2:]
    assert isinstance(heading, Heading) and heading.anchor == "glossary"
    return blocks[:-2], table


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_term_is_explained(language):
    """ensures that each term has a name and a short meaning."""
    terms = all_terms(Writer(language))
    assert {t.key for t in terms} == set(TERMS) and len(terms) == len(TERMS)
    for term in terms:
        assert term.name
        assert 3 <= len(term.meaning.split()) <= 32 and term.meaning.endswith(".")
    assert [t.name for t in terms][:2] == (
        ["ADF, acid detergent fiber", "Base saturation"] if language == "en"
        else ["Brix", "C:N"])


def _messages(language):
    """(template, macro, text) of each message that a document with a glossary may print."""
    for path in sorted((ROOT / "templates" / "text" / language).glob("*.j2")):
        if path.stem not in ELSEWHERE:
            for name, text in MACRO.findall(path.read_text(encoding="utf-8")):
                yield path.stem, name, text


@pytest.mark.parametrize("language", ["en", "es"])
def test_marks_name_terms(language):
    """ensures that every mark in a template names a term, and every term is marked somewhere or
    is a unit or choice."""
    marked = {key for *_, text in _messages(language) for _, key in MARK.findall(text)}
    named = {str(row["term"]) for row in load("wording/terms")}
    assert marked | named == set(TERMS)


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_term_is_left_unmarked(language):
    """ensures that words which are marked in one message are marked in every other: a term
    that a message names is never left out of the glossary."""
    spelt = {words.lower() for *_, text in _messages(language) for words, _ in MARK.findall(text)}
    longest = "|".join(map(re.escape, sorted(spelt, key=len, reverse=True)))
    word = re.compile(rf"(?<![\w-])({longest})(?!\w)", re.IGNORECASE)
    left = [(topic, name, found[0]) for topic, name, text in _messages(language)
            for found in word.finditer(MARK.sub("", CODE.sub("", text)))
            if not _capitals(found[0], text)]
    assert left == []


def _capitals(words, text):
    """Small letters where only the abbreviation is the term."""
    return any(w.lower() == words.lower() and w.isupper() and not words.isupper()
               for w, _ in MARK.findall(text))


@pytest.mark.parametrize("name", CASES)
def test_only_what_is_used_is_listed(name):
    """ensures that exactly the terms that the read parts use stand in the glossary: what is
    listed is read somewhere, and every word that templates mark is listed."""
    before, table = _split(name)
    read = [b if not isinstance(b, FindingBlock) else dataclasses.replace(b, blocks=())
            for b in before if not isinstance(b, CalculationList | SourceList)]
    text = "\n".join(t for b in read for t in texts(b))
    text += "\n".join(s for i in inside(tuple(read)) if hasattr(i, "alt")
                      for s in (i.title, i.subtitle, i.note, i.alt))
    listed = {row.anchor.removeprefix("g-") for row in table.rows}
    spelt = {found for *_, message in _messages("en") for found in MARK.findall(message)}
    used = {key for words, key in spelt if words in text
            and re.search(rf"(?<![\w-]){re.escape(words)}(?!\w)", text)}
    units = {str(row["term"]) for row in load("wording/terms")}
    assert listed - used <= units and used <= listed


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
    """ensures that a text reads the same with its links, and that each term has one."""
    cec, ece, sar = (named(words, key) for words, key in
                     (("CEC", "cec"), ("ECe", "ece"), ("SAR", "sar")))
    blocks = [Paragraph(f"The {cec}, and again the {cec} of this soil, is low."),
              FindingBlock("Salt", "noted", "noted",
                           body=(f"{ece} of 4 dS/m.", f"A {sar} of 13 and {cec}"))]
    first, made = with_glossary([Paragraph(f"{cec}!")], blocks, [], Writer())
    assert first == [Paragraph("CEC!")]
    assert plain(made[0].text) == "The CEC, and again the CEC of this soil, is low."
    assert [plain(t) for t in made[1].body] == ["ECe of 4 dS/m.", "A SAR of 13 and CEC"]
    assert [s.link for s in made[0].text if not isinstance(s, str)] == ["#g-cec"]
    assert [s.link for t in made[1].body for s in t if not isinstance(s, str)] == [
        "#g-ece", "#g-sar"]
    assert {row.cells[0].split(",")[0] for row in made[3].rows} == {"CEC", "ECe", "SAR"}


def test_no_term_no_glossary():
    """ensures that a document without such words gets no empty section."""
    blocks = [Heading(1, "Plain"), Paragraph("Nothing to explain.")]
    assert with_glossary([], blocks, [], Writer()) == ([], blocks)


def test_what_is_only_listed_does_not_count():
    """ensures that words in the list of sources bring no term, and lose their marks."""
    listed = SourceList((SourceEntry("[1]", "key", named("CEC", "cec")),))
    assert with_glossary([], [], [listed], Writer()) == (
        [], [SourceList((SourceEntry("[1]", "key", "CEC"),))])


def test_unknown_term():
    """ensures that a mark with a misspelt key is an error, not a word without meaning."""
    with pytest.raises(ValueError, match="not in the glossary: cecc"):
        with_glossary([], [Paragraph(named("CEC", "cecc"))], [], Writer())


@pytest.mark.parametrize("text, first, later", [
    ("buffer pH", "Buffer pH", "buffer pH"), ("Buffer pH", "Buffer pH", "buffer pH"),
    ("CEC", "CEC", "CEC"),
])
def test_capitals_pass_over_marks(text, first, later):
    """ensures that the first letter of a marked word is changed, and an abbreviation kept."""
    for given in (text, named(text, "x")):
        assert unmarked(capital(given)) == first and unmarked(small(given)) == later


def test_case_text_is_never_a_term():
    """ensures that names in a case that look like terms or marks are printed as they are."""
    writer = Writer().marking()
    assert terms_in(writer.write(say("report.fact_field"))) == set()
    title = writer.write(say("report.title", client="x", field="Brix [[CEC|cec]] Cone"))
    assert terms_in(title) == set() and "Brix [[CEC|cec]] Cone" in title


@pytest.mark.parametrize("language", ["en", "es"])
def test_longest_glossary_is_a_page(language):
    """ensures that even with every term the glossary takes no more than one page, set small
    like the annex it ends."""
    writer = Writer(language)
    _, blocks = with_glossary(
        [], [Paragraph("; ".join(named("x", key) for key in TERMS))], [], writer)
    table = blocks[2]
    assert isinstance(table, Table) and len(table.rows) == len(TERMS)
    document = dataclasses.replace(report("acid_corn_ohio"), attachments=(), language=language,
                                   blocks=(Annex("Annex", (blocks[1], table)),))
    data = render_pdf(document)
    assert len(pypdf.PdfReader(io.BytesIO(data)).pages) == 1
