"""One printed field sheet, filled in many ways."""

from __future__ import annotations

import pytest
from sheet_helpers import CASE

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.case.sheet_layout import SECTIONS, boxes
from loambrief.case.sheet_read import Filled, read_sheet_bytes


@pytest.fixture(scope="session")
def sheet():
    """The sheets of the Ohio case, as a file."""
    return pipeline.field_sheet_file(pipeline.advise(load_case(CASE)), SECTIONS)


@pytest.fixture(scope="session")
def empty(sheet) -> Filled:
    """The sheet as it was printed, read back."""
    return read_sheet_bytes(sheet.pdf, "sheet.pdf")


@pytest.fixture
def filled(empty):
    """Makes a filled sheet of values, without a file in between."""

    def make(**values: str) -> Filled:
        named = {name.replace("__", "/").replace("_is_", "="): v for name, v in values.items()}
        return of(named)

    def of(values: dict[str, str]) -> Filled:
        pages = {box.name: 1 for box in boxes(empty.layout)}
        assert set(values) <= set(pages), set(values) - set(pages)
        return Filled(empty.layout, values, pages, "sheet.pdf")

    make.of = of
    return make


@pytest.fixture(scope="session")
def sheet_bytes(sheet) -> bytes:
    """The printed sheet."""
    return sheet.pdf
