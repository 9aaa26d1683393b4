"""Widths, spans, lines and page breaks of tables, against numbers worked out by hand."""

from __future__ import annotations

import io

import pikepdf
import pypdfium2 as pdfium
import pytest
from render_samples import WORDS
from sample_reports import pdf, report

from loambrief.render.compose import Composer
from loambrief.render.grid import PAD_X
from loambrief.render.lines import text_width
from loambrief.render.styles import look
from loambrief.render.tables import (
    FILL_IN,
    GUTTER,
    _bound,
    _level,
    _names_rows,
    column_widths,
    lay_out,
    table,
)
from loambrief.render.tags import Element
from loambrief.report.blocks import Column, Row, RowKind, Table

LOOK = look()
GROUP, TOTAL = RowKind.GROUP, RowKind.TOTAL


@pytest.fixture
def composer():
    return Composer(LOOK, WORDS, Element("Document"))


def _table(*rows, columns=2, **more):
    return Table(tuple(Column(f"c{n}") for n in range(columns)), rows, **more)


def _plain(count):
    return [(f"{n}", "x") for n in range(count)]


def test_rows_that_stay_together():
    """ensures that the first two rows, the last two, a group with its first two and a total
    with its forerunner are bound, and nothing else."""
    def bound(*rows, drawn=()):
        return _bound(_table(*rows), list(drawn or range(1, len(rows) + 1)))

    assert bound(*_plain(5)) == {(1, 2), (4, 5)}
    assert bound(*_plain(1)) == {(1, 1)}
    rows = (*_plain(3), Row(("Group",), GROUP), *_plain(3), Row(("all", "7"), TOTAL), *_plain(2))
    assert bound(*rows) == {(1, 2), (9, 10), (4, 6), (7, 8)}
    assert bound(("a", "b"), Row(("Group",), GROUP)) == {(1, 2), (2, 2)}
    assert bound(Row(("all", "7"), TOTAL), *_plain(3)) == {(1, 2), (3, 4)}
    assert bound(*_plain(3), Row(("all", "7"), TOTAL), drawn=(1, 3, 5, 6)) == {(1, 3), (5, 6)}


def test_bound_rows_are_kept_on_one_page(composer):
    """ensures that the rows of the table carry what was found, titles not counted."""
    made = table(composer, _table(*_plain(6)), composer.root, 400.0)[-1]
    assert [row.bound for row in made.rows] == [False, True, False, False, False, True, False]
    high = tuple(("\n".join("abc" * 30), "x") for _ in range(3))  # each higher than half a page
    made = table(composer, _table(*high), composer.root, 400.0)[-1]
    assert not any(row.bound for row in made.rows)


def test_first_cells_name_rows_of_larger_tables_only():
    """ensures that a table has more cells than headers, or its first cells are no headers:
    2 columns never; 3 columns from 3 rows on; 4 columns from 2 rows on."""
    def named(columns, rows):
        row = tuple("x" for _ in range(columns))
        return _names_rows(_table(*[row] * rows, Row(("g",), GROUP), columns=columns,
                                  row_headers=True))

    assert not any(named(2, rows) for rows in (1, 2, 9))
    assert [named(3, rows) for rows in (1, 2, 3, 4)] == [False, False, True, True]
    assert [named(4, rows) for rows in (1, 2)] == [False, True]
    assert not _names_rows(_table(*[("x",) * 4] * 9, columns=4))


def test_weights_share_the_width():
    """ensures that columns with weights fill the width in their proportion."""
    block = Table((Column("a", weight=1), Column("b", weight=3)), (("1", "2"),))
    assert column_widths(LOOK, block, 400.0, "table") == [100.0, 300.0]


def _natural(text, style):
    return text_width(text, LOOK.style(style)) * 1.02 + 2 * PAD_X + 0.5


def test_little_content_stays_narrow():
    """ensures that a table that fills less than 0.7 of the width takes what it needs and a
    gutter; one to be filled in takes all of it."""
    block = _table(("some words", "x"))
    wanted = [_natural("some words", "table"), _natural("c1", "th")]
    assert column_widths(LOOK, block, 400.0, "table") == pytest.approx([w + GUTTER for w in wanted])
    filled = column_widths(LOOK, _table(("some words", "x"), fill_in=True), 400.0, "table")
    assert sum(filled) == pytest.approx(400.0)


def test_spare_width_goes_to_text():
    """ensures that what is left of the width goes to columns of text, not to numbers."""
    long = "twelve words of text " * 4
    block = Table((Column("Text"), Column("Amount", "right")), ((long, "12.5"),))
    text, number = _natural(long, "table"), _natural("Amount", "th")
    made = column_widths(LOOK, block, text + number + 20.0, "table")
    assert made == pytest.approx([text + 20.0, number])


def test_too_much_text_is_shared_out():
    """ensures that columns that do not fit fill the width together, none narrower than its
    longest word, and that the one with more text gets more."""
    block = _table(("word " * 100, "word " * 20))
    made = column_widths(LOOK, block, 300.0, "table")
    assert sum(made) == pytest.approx(300.0)
    assert made[0] > made[1] > _natural("word", "table")
    least, room = [_natural("word", "table")] * 2, 300.0 - 2 * _natural("word", "table")
    more = [(_natural(("word " * n), "table") - least[0]) ** 0.7 for n in (100, 20)]
    assert made == pytest.approx([least[0] + room * x / sum(more) for x in more])


def test_totals_are_measured_in_bold_and_group_names_not_at_all():
    """ensures that a total's width is that of bold type, and a long group name moves nothing."""
    rows = (("a", "x"), Row(("a much longer name of a group of rows",), GROUP),
            Row(("whole farm", "9"), TOTAL))
    made = column_widths(LOOK, _table(*rows), 400.0, "table")
    assert made == pytest.approx([_natural("whole farm", "th") + GUTTER,
                                  _natural("c1", "th") + GUTTER])


def test_the_widest_columns_give_way():
    """ensures that widths are cut from above until they fit: 50, 200 and 300 into 300 leave
    50, 125 and 125."""
    assert _level([50.0, 200.0, 300.0], 300.0) == [50.0, 125.0, 125.0]
    assert _level([300.0, 50.0, 200.0], 300.0) == [125.0, 50.0, 125.0]
    assert _level([10.0, 20.0], 100.0) == [10.0, 20.0]


def test_commands_reach_the_cells_they_name(composer):
    """ensures that places are counted from 0 or from the end, that a span takes its neighbours,
    and that rows are bound to their followers only."""
    def cell():
        return composer.text("x", composer.root)

    rows = [[cell(), "", cell()], [cell(), cell(), cell()], [cell(), cell(), cell()]]
    ink = LOOK.colours["ink"]
    made = lay_out(composer, rows, [50.0, 60.0, 70.0], [
        ("SPAN", (0, 0), (1, 0)), ("NOSPLIT", (0, 1), (-1, -1)),
        ("LEFTPADDING", (0, 1), (0, -1), 7), ("RIGHTPADDING", (-1, -1), (-1, -1), 8),
        ("TOPPADDING", (1, 1), (2, 1), 9), ("BOTTOMPADDING", (0, 2), (1, 2), 6),
        ("VALIGN", (0, 2), (-1, 2), "BOTTOM"), ("VALIGN", (1, 2), (1, 2), "TOP"),
        ("LINEABOVE", (0, 2), (-1, 2), 0.9, ink), ("LINEBELOW", (0, 0), (-1, 0), 0.4, ink),
        ("GRID", (2, 1), (2, 1), 0.5, ink),
    ], titles=1, heights=[None, 40.0, None], pad=2.0)
    first, second, third = made.rows
    assert [(c.column, c.span) for c in first.cells] == [(0, 2), (2, 1)]
    assert first.cells[0].room(made.widths) == 110.0 - 2 * PAD_X
    assert [row.bound for row in made.rows] == [False, True, False]
    assert [c.left for c in second.cells] == [7, PAD_X, PAD_X]
    assert [c.left for c in first.cells] == [PAD_X, PAD_X]
    assert [c.right for c in third.cells] == [PAD_X, PAD_X, 8]
    assert [c.top for c in second.cells] == [2.0, 9, 9]
    assert [c.bottom for c in third.cells] == [6, 6, 2.0]
    assert [c.low for c in third.cells] == [True, False, True]
    assert [c.above for c in third.cells] == [(0.9, ink)] * 3
    assert [c.below for c in first.cells] == [(0.4, ink)] * 2 and second.cells[0].below is None
    assert [c.boxed for c in second.cells] == [None, None, (0.5, ink)]
    assert second.height(made.widths) == 40.0 and made.titles == 1
    with pytest.raises(ValueError, match="no table command 'BOX'"):
        lay_out(composer, rows, [50.0] * 3, [("BOX", (0, 0), (0, 0), 1, ink)])


def test_lines_below_rows_and_rows_to_write_in(composer):
    """ensures that a line that belongs to a row stands under it from the second column on,
    bound to it and without a rule between, and that a row to write in is high enough."""
    made = table(composer, _table(*_plain(3), columns=2), composer.root, 400.0,
                 below={1: "Caution: mask"})[-1]
    assert len(made.rows) == 5
    assert [(c.column, c.span) for c in made.rows[3].cells] == [(0, 1), (1, 1)]
    assert [row.bound for row in made.rows] == [False, True, True, True, False]
    ruled = [row.cells[0].below is not None for row in made.rows]
    assert ruled == [True, True, False, True, True]
    assert all(c.top == 0 for c in made.rows[3].cells)
    sheet = table(composer, _table(*_plain(2), fill_in=True), composer.root, 400.0)[-1]
    assert [row.least for row in sheet.rows] == [0.0, FILL_IN, FILL_IN]
    assert sheet.rows[1].cells[0].boxed and not sheet.rows[0].cells[0].boxed
    assert sheet.rows[1].cells[0].left == PAD_X and made.rows[1].cells[0].left == 0
    assert made.rows[1].cells[-1].right == 0 and sheet.rows[1].cells[-1].right == PAD_X


def test_groups_span_and_totals_are_ruled(composer):
    """ensures that a group's name spans the table with room above it, and a total has a rule."""
    rows = (Row(("Group",), GROUP, "here"), *_plain(2), Row(("all", "7"), TOTAL))
    made = table(composer, _table(*rows, note="small print"), composer.root, 400.0)
    grid = made[0]
    assert [(c.column, c.span) for c in grid.rows[1].cells] == [(0, 2)]
    assert grid.rows[1].cells[0].top == 3 * LOOK.lengths["cell"]
    assert [bool(row.cells[0].above) for row in grid.rows] == [False] * 4 + [True]
    assert len(made) == 2 and made[0].spaceAfter < LOOK.style("body").leading
    assert all(cell.low for cell in grid.rows[0].cells) and not grid.rows[2].cells[0].low


def test_lines_below_rows_move_groups_and_totals(composer):
    """ensures that a group's span and a total's rule stand on the row where they are drawn, not
    on the one with their number in the table."""
    rows = (*_plain(1), Row(("Group",), GROUP), *_plain(2), Row(("all", "7"), TOTAL))
    made = table(composer, _table(*rows), composer.root, 400.0,
                 below={0: "Caution: mask", 2: "Caution: gloves"})[-1]
    assert [[c.span for c in row.cells] for row in made.rows] == [
        [1, 1], [1, 1], [1, 1], [2], [1, 1], [1, 1], [1, 1], [1, 1]]
    assert [bool(row.cells[0].above) for row in made.rows] == [False] * 7 + [True]


@pytest.mark.parametrize("name", ["saline_alfalfa_utah", "acid_corn_ohio"])
def test_the_total_of_page_one_has_its_rule(name):
    """ensures that the heavy rule on the paper stands just above the words of the total, though
    cautions stand below the lines of the table."""
    data = pdf(name)
    assert any(line.caution for line in report(name).blocks[0].actions)
    heights, pen, moved = [], 0.0, 0.0
    with pikepdf.open(io.BytesIO(data)) as document:
        for operands, operator in pikepdf.parse_content_stream(document.pages[0]):
            if str(operator) == "w":
                pen = float(operands[0])
            elif str(operator) == "l" and pen == pytest.approx(0.9):
                heights.append(float(operands[1]))
            elif str(operator) == "cm":
                moved += float(operands[5])
    with pdfium.PdfDocument(data) as opened:
        found = opened[0].get_textpage()
        place, _ = found.search("Total of the plan").get_next()
        _, _, _, top = found.get_charbox(place)
    assert moved == 0
    above = min(y for y in heights if y >= top) - top
    assert above < LOOK.style("table").leading
    titles = max(heights)  # rules of the table's titles and of its total, and no other
    assert {round(y, 1) for y in heights} == {round(titles, 1), round(top + above, 1)}


def test_a_table_without_rows_says_so_or_is_not_there(composer):
    """ensures that an empty table leaves its words, and nothing where it has none."""
    assert table(composer, _table(), composer.root, 400.0) == []
    words, = table(composer, _table(empty="None was sampled."), composer.root, 400.0)
    assert words.pieces[0].text == "None was sampled."
