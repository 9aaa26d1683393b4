"""Tables: widths by content, repeated titles, page breaks that do not part what belongs."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import Flowable
from loambrief.render.grid import FILL_IN, PAD_X, Grid, GridCell, GridRow
from loambrief.render.lines import text_width
from loambrief.render.styles import Look
from loambrief.render.tags import Element
from loambrief.report.blocks import Column, Row, RowKind, Span, Table, Text, plain, spans

GUTTER = 16.0
"""Between the columns of a table that is too narrow to fill the width [pt]."""


def lay_out(
    composer: Composer,
    rows: Sequence[Sequence],
    widths: Sequence[float],
    commands: Sequence[tuple] = (),
    *,
    titles: int = 0,
    heights: Sequence[float | None] | None = None,
    pad: float | None = None,
) -> Grid:
    """A grid of ready cells with the house's paddings.

    Parameters
    ----------
    widths : sequence of float
        Column widths [pt].
    commands : sequence of tuple
        ``(name, (column, row) of the first cell, (column, row) of the last cell, value...)``,
        counted from 0 or, if negative, from the end: LEFTPADDING, RIGHTPADDING, TOPPADDING,
        BOTTOMPADDING (points), VALIGN ("TOP" or "BOTTOM"), LINEABOVE, LINEBELOW, GRID
        (thickness, colour), SPAN (columns of one row), NOSPLIT (rows).
    titles : int
        Rows to repeat on each page.
    heights : sequence of float or None
        Row heights [pt]; None by content.
    pad : float
        Above and below the text of a cell [pt]; the theme's if left out.

    Raises
    ------
    ValueError
        Another command.
    """
    pad = composer.look.lengths["cell"] if pad is None else pad
    made = [GridRow([GridCell(_parts(content), column, 1, PAD_X, PAD_X, pad, pad)
                     for column, content in enumerate(row)]) for row in rows]
    for row, height in zip(made, heights or (), strict=bool(heights)):
        row.exactly = height
    for name, start, end, *values in commands:
        _command(made, name, start, end, values)
    for row in made:  # what a span covers is no cell of its own
        row.cells = [cell for cell in row.cells if cell.span]
    return Grid(made, widths, titles, composer.look.text_height * 0.18,
                composer.look.text_height * 0.5)


def _parts(content) -> list[Flowable]:
    if isinstance(content, list):
        return content
    return [content] if content else []


PADDINGS = {"LEFTPADDING": "left", "RIGHTPADDING": "right", "TOPPADDING": "top",
            "BOTTOMPADDING": "bottom"}
LINES = {"LINEABOVE": "above", "LINEBELOW": "below", "GRID": "boxed"}


def _command(rows: list[GridRow], name: str, start: tuple[int, int], end: tuple[int, int],
             values: list) -> None:
    (left, top), (right, bottom) = start, end
    chosen = rows[_place(top, len(rows)) : _place(bottom, len(rows)) + 1]
    if name == "NOSPLIT":
        for row in chosen[:-1]:
            row.bound = True
        return
    for row in chosen:
        count = len(row.cells)
        cells = row.cells[_place(left, count) : _place(right, count) + 1]
        if name == "SPAN":
            cells[0].span = len(cells)
            for cell in cells[1:]:
                cell.span = 0
        elif name in PADDINGS:
            for cell in cells:
                setattr(cell, PADDINGS[name], values[0])
        elif name in LINES:
            for cell in cells:
                setattr(cell, LINES[name], (values[0], values[1]))
        elif name == "VALIGN":
            for cell in cells:
                cell.low = values[0] == "BOTTOM"
        else:
            raise ValueError(f"no table command {name!r}")


def _place(index: int, count: int) -> int:
    return index + count if index < 0 else index


def table(composer: Composer, block: Table, parent: Element, width: float,
          below: Mapping[int, Text] = MappingProxyType({})) -> list[Flowable]:
    """A table block as flowables: caption, table, note.

    Lines ``below`` belong to a row (numbered from 0) and stand under it, from the second column
    on. More than seven columns are set in small type.
    """
    look = composer.look
    if not block.lines:
        return [composer.text(block.empty, parent, "note", anchor=block.anchor)] if (
            block.empty or block.anchor) else []
    element = parent.add("Table")
    made: list[Flowable] = []
    if block.caption:
        caption = composer.paragraph(block.caption, look.style("caption"),
                                     element.add("Caption"), anchor=block.anchor)
        caption.keep_next = True
        made.append(caption)
    body = "table_small" if len(block.columns) > 7 else "table"
    widths = column_widths(look, block, width, body)
    cells = [_titles(composer, block.columns, element.add("THead").add("TR"))]
    section = element.add("TBody")
    extra: list[int] = []
    drawn: list[int] = []
    for number, row in enumerate(block.lines):
        drawn.append(len(cells))
        cells.append(_row(composer, block, row, section.add("TR"), body))
        if number in below:
            extra.append(len(cells))
            cells.append(_below(composer, below[number], section.add("TR"), len(block.columns)))
    commands = _lines(look, block, drawn, [n for n in range(1, len(cells)) if n + 1 not in extra])
    for number in extra:
        commands += [("SPAN", (1, number), (-1, number)),
                     ("TOPPADDING", (0, number), (-1, number), 0)]
    laid = lay_out(composer, cells, widths, commands, titles=1)
    if block.fill_in:
        for line in laid.rows[1:]:
            line.least = FILL_IN
    _guard(laid, _bound(block, drawn) | {(number - 1, number) for number in extra})
    laid.spaceAfter = 0.35 * look.style("body").leading if block.note else look.style(
        "body").spaceAfter * 1.4
    made.append(laid)
    if block.note:
        made.append(composer.text(block.note, parent, "note"))
    return made


def _titles(composer: Composer, columns: tuple[Column, ...], row: Element) -> list[Flowable]:
    cells: list[Flowable] = []
    for column in columns:
        text: Text = column.title
        if column.unit:
            text = (*spans(column.title), Span(f"\n{column.unit}", muted=True))
        head = row.add("TH", attributes="/O/Table/Scope/Column")
        cells.append(composer.paragraph(text, composer.look.style("th", column.align), head))
    return cells


def _row(composer: Composer, block: Table, row: Row, element: Element, body: str) -> list:
    look = composer.look
    if row.kind is RowKind.GROUP:
        span = len(block.columns)
        cell = element.add("TD", attributes=f"/O/Table/ColSpan {span}")
        first = composer.paragraph(row.cells[0], look.style("th"), cell, anchor=row.anchor)
        return [first, *[""] * (span - 1)]
    cells = []
    for index, (column, text) in enumerate(zip(block.columns, row.cells, strict=True)):
        names = index == 0 and _names_rows(block)
        cell = element.add("TH", attributes="/O/Table/Scope/Row") if names else element.add("TD")
        cells.append(composer.paragraph(
            text, look.style(body, column.align), cell,
            anchor=row.anchor if index == 0 else "", bold=row.kind is RowKind.TOTAL,
        ))
    return cells


def _names_rows(block: Table) -> bool:
    """Whether first cells are row headers: wanted, and the table has more cells than headers."""
    columns = len(block.columns)
    rows = sum(row.kind is not RowKind.GROUP for row in block.lines)
    return block.row_headers and (columns - 2) * rows >= columns


def _below(composer: Composer, text: Text, element: Element, columns: int) -> list:
    element.add("TD")
    cell = element.add("TD", attributes=f"/O/Table/ColSpan {columns - 1}")
    paragraph = composer.paragraph(text, composer.look.style("table_small"), cell)
    return ["", paragraph, *[""] * (columns - 2)]


def _lines(look: Look, block: Table, drawn: list[int], ruled: list[int]) -> list[tuple]:
    """Table commands, for each line of the block on the row where it is ``drawn``.

    A hairline goes below each of the ``ruled`` rows.
    """
    ink, rule = look.colours["ink"], look.colours["rule"]
    commands: list[tuple] = [] if block.fill_in else [
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
    ]
    commands += [
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, ink),
        *(("LINEBELOW", (0, n), (-1, n), 0.4, rule) for n in ruled),
    ]
    if block.fill_in:
        commands.append(("GRID", (0, 1), (-1, -1), 0.5, look.colours["muted"]))
    for number, row in zip(drawn, block.lines, strict=True):
        if row.kind is RowKind.GROUP:
            commands += [("SPAN", (0, number), (-1, number)),
                         ("TOPPADDING", (0, number), (-1, number), 3 * look.lengths["cell"])]
        elif row.kind is RowKind.TOTAL:
            commands.append(("LINEABOVE", (0, number), (-1, number), 0.9, ink))
    return commands


def _bound(block: Table, drawn: list[int]) -> set[tuple[int, int]]:
    """Drawn rows that stay together, as (first, last): the first two lines, the last two, a
    group name and its first two, a total and the line before it."""
    last = len(block.lines) - 1
    bound = {(0, min(1, last)), (max(0, last - 1), last)}
    for number, row in enumerate(block.lines):
        if row.kind is RowKind.GROUP:
            bound.add((number, min(number + 2, last)))
        elif row.kind is RowKind.TOTAL and number > 0:
            bound.add((number - 1, number))
    return {(drawn[first], drawn[end]) for first, end in bound}


def _guard(laid: Grid, bound: set[tuple[int, int]]) -> None:
    """Forbid a page break between rows that belong together, unless they are very high."""
    for first, end in bound:
        rows = laid.rows[first : end + 1]
        if end > first and sum(row.height(laid.widths) for row in rows) < laid.row_limit:
            for row in rows[:-1]:
                row.bound = True


def column_widths(look: Look, block: Table, width: float, body: str) -> list[float]:
    """Widths that fill the text width: by weight if every column has one, else by content.

    Parameters
    ----------
    width : float
        To be filled [pt].
    body : str
        Style of the cells.

    Returns
    -------
    list of float
        [pt]; a table of little content stays narrow; words are only parted where even the
        longest words do not fit beside each other.
    """
    weights = [c.weight for c in block.columns]
    if all(w > 0 for w in weights):
        return [width * w / sum(weights) for w in weights]
    title, cell = look.style("th"), look.style(body)
    least, natural = [], []
    for index, column in enumerate(block.columns):
        lines = [(line, title) for line in (*clean_lines(column.title), clean(column.unit))]
        for row in block.lines:
            if row.kind is not RowKind.GROUP:
                style = title if row.kind is RowKind.TOTAL else cell
                lines += [(line, style) for line in clean_lines(row.cells[index])]
        words = {(w, s) for line, s in lines for w in line.split(" ")}
        extra = 2 * PAD_X + 0.5
        least.append(max(_wide(w, s) for w, s in words) + extra)
        natural.append(max(_wide(line, s) for line, s in set(lines)) + extra)
    least = [min(w, width * 0.45) for w in least]
    natural = [max(n, w) for n, w in zip(natural, least, strict=True)]
    spare = width - sum(natural)
    if spare > 0.3 * width and not block.fill_in:
        return [n + GUTTER for n in natural]
    if spare >= 0:
        texts = [i for i, c in enumerate(block.columns) if c.align == "left"] or [0]
        total = sum(natural[i] for i in texts)
        return [n + (spare * n / total if i in texts else 0) for i, n in enumerate(natural)]
    if sum(least) >= width:
        return _level(least, width)
    room = width - sum(least)
    wanted = [(n - w) ** 0.7 for n, w in zip(natural, least, strict=True)]
    return [w + room * x / sum(wanted) for w, x in zip(least, wanted, strict=True)]


def _level(wanted: list[float], width: float) -> list[float]:
    """Widths that add up to ``width``: the widest columns give way, all to the same width."""
    left, made = width, dict.fromkeys(range(len(wanted)), 0.0)
    order = sorted(made, key=lambda i: wanted[i])
    for place, index in enumerate(order):
        made[index] = min(wanted[index], left / (len(order) - place))
        left -= made[index]
    return [made[i] for i in range(len(wanted))]


def clean_lines(text: Text) -> list[str]:
    """Lines of a text as printed."""
    return [clean(line) for line in plain(text).split("\n")] or [""]


def _wide(text: str, style) -> float:
    """Width of a text, a little more than needed for its bold pieces."""
    return text_width(text, style) * 1.02
