"""Data tables agree with the source files beside them."""

import tomllib

import pytest

from loambrief.resources import tables_dir
from loambrief.tables import all_documents, all_tables, load, load_document, references

TABLES = all_tables()


@pytest.mark.parametrize("name", TABLES)
def test_table_is_sourced(name):
    """ensures that a table has a known reference and a described unit for every column."""
    table = load(name)
    assert table.rows, name
    assert table.source.reference in references(), table.source.reference
    for column, about in table.source.columns.items():
        assert about.get("meaning"), f"{name}.{column} has no meaning"
        numeric = all(isinstance(v, float | None) for v in table.column(column))
        if numeric and about.get("type") != "text":
            assert about.get("unit"), f"{name}.{column} has no unit"


@pytest.mark.parametrize("name", TABLES)
def test_column_sums_hold(name):
    """ensures that a typed-in table was not changed by a slip of the keyboard."""
    table = load(name)
    for column, about in table.source.columns.items():
        if "sum" in about:
            total = sum(v for v in table.column(column) if v is not None)
            assert total == pytest.approx(about["sum"], abs=1e-6), f"{name}.{column}"


@pytest.mark.parametrize("name", TABLES)
def test_row_sources_are_known(name):
    """ensures that a row's own source key is in the reference list."""
    table = load(name)
    for column in ("source", "reference"):
        if column in table.source.columns:
            for key in table.column(column):
                for part in str(key or table.source.reference).split(";"):
                    assert part.strip() in references(), f"{name}: {part}"


@pytest.mark.parametrize("name", all_documents())
def test_document_is_sourced(name):
    """ensures that a structured table names a known reference."""
    assert load_document(name)["source"]["reference"] in references()


WEAK_HOSTS = ("scribd.", "studylib.", "docslib.", "docsbay.", "vdocuments.", "fdocuments.",
              "dokumen.", "kipdf.", "coek.", "coursehero.", "studfile.", "yumpu.", "docplayer.",
              "flipbuilder.", "wikipedia.", "hostwiki.", "what-when-how.", "citationsy.",
              "zendy.", "researcher.life", "acemap.", "magzter.", "quora.", "reddit.",
              "stackexchange.", "answers.", "slideshare.", "issuu.", "agfuse.", "lexdraft.",
              "hort.net", "pdfcoffee.", "encyclopedia.")
"""Shared copies, encyclopedias, questions and answers: no publication stands there."""


def test_publications_are_named_not_copies_of_them():
    """ensures that no source sends a reader to a page where anybody may put anything."""
    for key, about in references().items():
        host = about.url.partition("//")[2].partition("/")[0]
        assert not any(weak in host for weak in WEAK_HOSTS), (key, about.url)
        assert "encyclop" not in about.citation.lower(), key


def test_references_read_one_by_one_are_those_of_the_files():
    """ensures that a file read in parts says of each publication what it says read whole."""
    whole = {}
    for path in (tables_dir() / "references").glob("*.toml"):
        whole.update(tomllib.loads(path.read_text(encoding="utf-8")))
    assert whole.keys() == references().keys()
    for key, raw in whole.items():
        said = vars(references()[key])
        assert {name: said[name] for name in raw} == raw


def test_references_are_complete():
    """ensures that each publication has a citation and a year or the reason for none."""
    for key, about in references().items():
        assert len(about.citation) > 15, key
        assert about.year is None or 1800 < about.year < 2100, key
