"""Cells in rows and columns: sizes, lines, page breaks between rows.

A cell holds flowables. Rows that are bound to their follower stay on its page, title rows are
repeated, and a row much higher than the rest may be parted inside.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from reportlab.lib.colors import Color

from loambrief.render.flowables import SLACK, Flowable, cut, pile, stack
from loambrief.render.lines import number
from loambrief.render.tags import TaggedCanvas, artifact_operator

PAD_X = 4.0
FILL_IN = 26.0
"""Least height of a row to be written in by hand, unless another makes better pages [pt]."""


@dataclass(slots=True)
class GridCell:
    """Content and distances of one cell [pt]."""

    parts: list[Flowable]
    """One below the other."""
    column: int
    span: int = 1
    """``column``, ``span``: first column, and how many it covers."""
    left: float = PAD_X
    right: float = PAD_X
    top: float = 0.0
    bottom: float = 0.0
    """``left``, ``right``, ``top``, ``bottom``: distances to the cell's edges."""
    low: bool = False
    """At the bottom of its row, not at the top."""
    above: tuple[float, Color] | None = None
    below: tuple[float, Color] | None = None
    """``above``, ``below``: (thickness, Color) or None: Lines along its edges."""
    boxed: tuple[float, Color] | None = None
    """(thickness, Color) or None: Lines along all edges."""

    def room(self, widths: Sequence[float]) -> float:
        """Width for the content [pt]."""
        if self.span == 1:
            return widths[self.column] - self.left - self.right
        return sum(widths[self.column : self.column + self.span]) - self.left - self.right

    def height(self, widths: Sequence[float]) -> float:
        """Height with its distances [pt]."""
        parts = self.parts
        if len(parts) == 1:
            return parts[0].wrap(self.room(widths), 1e6)[1] + self.top + self.bottom
        return stack(parts, self.room(widths)) + self.top + self.bottom


@dataclass(slots=True)
class GridRow:
    """Cells from left to right; ``bound``: no page break after it.

    ``exactly`` and ``least`` are heights [pt]; None lets the content decide.
    """

    cells: list[GridCell]
    bound: bool = False
    exactly: float | None = None
    least: float = 0.0
    fixed: list[float] = field(default_factory=list)
    """The height, once it is known."""

    def height(self, widths: Sequence[float]) -> float:
        if not self.fixed:
            high = self.exactly
            if high is None:
                high = max([self.least, *(cell.height(widths) for cell in self.cells)])
            self.fixed.append(high)
        return self.fixed[0]


class Grid(Flowable):
    """A table of cells.

    Parameters
    ----------
    widths : sequence of float
        Of the columns [pt].
    titles : int
        Rows to repeat after a page break.
    small_enough : float
        A grid not higher than this is kept whole [pt].
    row_limit : float
        A row higher than this may be parted inside [pt].
    again : sequence of GridRow
        Stand in place of the titles where the grid goes on over a page; as many.
    """

    def __init__(self, rows: list[GridRow], widths: Sequence[float], titles: int = 0,
                 small_enough: float = 0.0, row_limit: float = 1e6,
                 again: Sequence[GridRow] = ()):
        self.again = list(again)
        self.rows, self.widths, self.titles = rows, tuple(widths), titles
        self.small_enough, self.row_limit = small_enough, row_limit
        self.width = sum(self.widths)

    def wrap(self, availWidth, availHeight):
        self.height = sum(row.height(self.widths) for row in self.rows)
        return self.width, self.height

    def start_height(self, width: float) -> float:
        """Titles and the first two rows, with what is bound to them, or all of a small grid."""
        _, height = self.wrap(width, 1e6)
        if height <= self.small_enough:
            return height
        end = min(self.titles + 2, len(self.rows))
        while end < len(self.rows) and self.rows[end - 1].bound:
            end += 1
        return sum(row.height(self.widths) for row in self.rows[:end])

    def split(self, availWidth, availHeight):
        _, height = self.wrap(availWidth, availHeight)
        if height <= availHeight + SLACK:
            return [self]
        if height <= self.small_enough:
            return []
        used, fitting = 0.0, 0
        for row in self.rows:
            high = row.height(self.widths)
            if used + high > availHeight + SLACK:
                break
            used += high
            fitting += 1
        rows = self.rows
        if fitting >= self.titles and rows[fitting].height(self.widths) > self.row_limit:
            parted = self._part_row(rows[fitting], availHeight - used)
            if parted:
                head, rest = parted
                return self._at([*rows[:fitting], head], [rest, *rows[fitting + 1:]])
        end = fitting
        while end > self.titles and rows[end - 1].bound:
            end -= 1
        if end <= self.titles:
            end = fitting if self.on_top else 0  # bound rows higher than a page are parted
        if end <= self.titles:
            return []
        return self._at(rows[:end], rows[end:])

    def _at(self, first: list[GridRow], rest: list[GridRow]) -> "list[Grid]":
        titles = self.again or self.rows[: self.titles]
        look = (self.widths, self.titles, 0.0, self.row_limit, self.again)
        made = [Grid(first, *look), Grid([*titles, *rest], *look)]
        made[0].spaceBefore, made[1].spaceAfter = self.spaceBefore, self.spaceAfter
        return made

    def _part_row(self, row: GridRow, room: float) -> tuple[GridRow, GridRow] | None:
        """A row as what fits into a height and the rest; None if nothing of it does."""
        heads, rests = [], []
        for cell in row.cells:
            fitting, rest = cut(cell.parts, cell.room(self.widths),
                                room - cell.top - cell.bottom)
            if rest and not fitting and not self.on_top:
                return None
            heads.append(replace(cell, parts=fitting, low=False))
            rests.append(replace(cell, parts=rest, low=False))
        if not any(cell.parts for cell in heads):
            return None
        return GridRow(heads), GridRow(rests, row.bound)

    def drawOn(self, canvas: TaggedCanvas, x: float, y: float) -> None:
        top = y + self.height
        edges = [x]
        for width in self.widths:
            edges.append(edges[-1] + width)
        lines: dict[tuple[float, Color], list[str]] = {}
        places = []
        for row in self.rows:
            low = top - row.height(self.widths)
            for cell in row.cells:
                left, right = edges[cell.column], edges[cell.column + cell.span]
                for pen, ends in _edges(cell, left, right, top, low):
                    lines.setdefault(pen, []).append(ends)
                if cell.parts:
                    places.append((cell, left + cell.left, top, low))
            top = low
        if lines:
            code = [artifact_operator(), "q"]
            for (thickness, colour), ends in lines.items():
                code.append(f"{number(thickness)} w {colour.red:.4g} {colour.green:.4g} "
                            f"{colour.blue:.4g} RG {' '.join(dict.fromkeys(ends))} S")
            canvas.put(" ".join(code), "Q EMC")
        for cell, left, upper, low in places:
            start = upper - cell.top
            if cell.low:
                start = low + cell.height(self.widths) - cell.top
            pile(canvas, cell.parts, left, start, cell.room(self.widths))


def _edges(cell: GridCell, left: float, right: float, top: float, low: float):
    """Lines of one cell as (pen, operators)."""
    if cell.boxed:
        yield cell.boxed, (f"{number(left)} {number(low)} {number(right - left)} "
                           f"{number(top - low)} re")
    for pen, height in ((cell.above, top), (cell.below, low)):
        if pen:
            yield pen, (f"{number(left)} {number(height)} m {number(right)} {number(height)} l")
