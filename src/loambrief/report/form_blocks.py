"""Blocks of a sheet to be filled in, by hand or on a screen."""

from dataclasses import dataclass

from loambrief.report.blocks import Block, Column, Text


@dataclass(frozen=True)
class FormEntry:
    """A box to write in."""

    name: str
    """Of the form field."""
    says: str
    """What a screen reader says, and what a program shows beside the pointer."""
    lines: bool = False
    """More than one line may be written."""
    longest: int = 0
    """Characters that may be typed."""


@dataclass(frozen=True)
class Tick:
    """A small square to tick, with its printed word."""

    name: str
    says: str
    label: str


@dataclass(frozen=True)
class FormCell:
    """A cell with its printed label on top and a box, or squares to tick, below.

    ``weight`` is its share of the row's width.
    """

    label: Text = ""
    entry: FormEntry | None = None
    ticks: tuple[Tick, ...] = ()
    weight: float = 1.0


@dataclass(frozen=True)
class FormGrid(Block):
    """Rows of labelled cells, each row with widths of its own.

    ``title`` stands above, kept with the first row. ``height`` is the least height of a
    row [pt].
    """

    rows: tuple[tuple[FormCell, ...], ...]
    title: Text = ""
    height: float = 36.0

    def __post_init__(self) -> None:
        if not self.rows or not all(self.rows):
            raise ValueError("a form grid needs rows with cells")


@dataclass(frozen=True)
class FormTable(Block):
    """A table of boxes with column titles; a text cell is printed, a form cell is filled in.

    Every column has a weight. ``height`` is the least height of a row [pt].
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[Text | FormCell, ...], ...]
    caption: Text = ""
    note: Text = ""
    height: float = 27.0

    def __post_init__(self) -> None:
        if not self.rows or any(len(row) != len(self.columns) for row in self.rows):
            raise ValueError("every row of a form table has a cell for each column")
        if not all(column.weight > 0 for column in self.columns):
            raise ValueError("every column of a form table has a weight")
