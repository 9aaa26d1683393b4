"""The page checker finds each fault on a page made for it, and nothing on a good page."""

from __future__ import annotations

import pagecheck
import pytest
from bad_pages import filled, sheets, with_table
from pagecheck import check, main


def kinds(data, **limits):
    return {flaw.kind for flaw in check(data, **limits)}


def test_a_good_page_has_no_flaw():
    """ensures that text inside the margins, a chart, a table line and a short last page pass."""
    with sheets() as sheet:
        filled(sheet)
        sheet.say("H1", 60, 640, "Heading")
        sheet.say("P", 60, 620, "Below it")
        sheet.say("Figure", 60, 500, "axis", 7)
        sheet.line(300, 480, 300, 520)
        sheet.next()
        sheet.say("P", 60, 700, "A short last page")
        sheet.next()
    assert check(sheet.data()) == []


@pytest.mark.parametrize("x, y", [(40, 400), (540, 400), (60, 780), (60, 20)])
def test_text_in_a_margin(x, y):
    """ensures that text in any of the four margins is named."""
    with sheets() as sheet:
        filled(sheet)
        sheet.say("P", x, y, "Stray words")
        sheet.next()
    (flaw,) = check(sheet.data())
    assert flaw.kind == "outside" and "Stray words" in str(flaw)


def test_line_in_a_margin():
    """ensures that a drawn line in a margin is named, and one that a clip hides is not."""
    for hidden in (False, True):
        with sheets() as sheet:
            filled(sheet)
            with sheet.tagged("Artifact"):
                if hidden:
                    path = sheet.beginPath()
                    path.rect(100, 100, 50, 50)
                    sheet.clipPath(path, stroke=0, fill=0)
                sheet.line(20, 120, 140, 120)
            sheet.next()
        assert kinds(sheet.data()) == (set() if hidden else {"outside"})


def test_overlapping_text():
    """ensures that lines that run into each other are named, lines that only touch are not."""
    for distance, wanted in ((3, {"overlap"}), (9.5, set())):
        with sheets() as sheet:
            filled(sheet)
            sheet.say("P", 60, 400, "Hay from the upper field")
            sheet.say("P", 70, 400 - distance, "belongs to the neighbor")
            sheet.next()
        assert kinds(sheet.data()) == wanted


def test_tiny_type():
    """ensures that 8 pt is the least outside charts and 7 pt inside, also where it is scaled."""
    for tag, size, scale, wanted in (
        ("P", 8, 1, set()), ("P", 7.8, 1, {"tiny"}), ("Figure", 7, 1, set()),
        ("Figure", 6.8, 1, {"tiny"}), ("P", 10, 0.7, {"tiny"}),
    ):
        with sheets() as sheet:
            filled(sheet)
            sheet.saveState()
            sheet.scale(scale, scale)
            sheet.say(tag, 100 / scale, 400 / scale, "Small print", size)
            sheet.restoreState()
            sheet.next()
        assert kinds(sheet.data()) == wanted, (tag, size, scale)
    assert kinds(sheet.data(), smallest=6.5) == set()


def test_text_cut_by_a_clip():
    """ensures that text longer than the clip around it is named."""
    with sheets() as sheet:
        filled(sheet)
        sheet.saveState()
        path = sheet.beginPath()
        path.rect(60, 390, 40, 30)
        sheet.clipPath(path, stroke=0, fill=0)
        sheet.say("TD", 62, 400, "Longer than its cell")
        sheet.restoreState()
        sheet.next()
    assert kinds(sheet.data()) == {"clipped"}


def test_text_off_the_paper():
    """ensures that text over the edge of the paper is named, as cut and as outside."""
    with sheets() as sheet:
        filled(sheet)
        sheet.say("P", 560, 400, "Goes on over the edge")
        sheet.next()
    assert kinds(sheet.data()) == {"clipped", "outside"}


def test_text_through_a_table_line():
    """ensures that a cell's text that crosses the line of the next cell is named."""
    with sheets() as sheet:
        filled(sheet)
        sheet.line(120, 380, 120, 420)
        sheet.say("TD", 62, 400, "Longer than its cell")
        sheet.next()
    assert kinds(sheet.data()) == {"clipped"}


def test_heading_at_the_foot():
    """ensures that a heading with nothing below it is named, at the end of a page and of a
    column, and that one of two lines with text below is not."""
    with sheets() as sheet:
        filled(sheet, 200)
        sheet.say("H2", 60, 80, "Left alone")
        sheet.next()
    assert kinds(sheet.data()) == {"orphan"}
    with sheets() as sheet:
        sheet.say("P", 60, 700, "Left column")
        sheet.say("H2", 60, 80, "Left alone")
        sheet.say("P", 320, 700, "Right column")
        sheet.next()
    assert kinds(sheet.data()) == {"orphan"}
    with sheets() as sheet:
        filled(sheet, 200)
        with sheet.tagged("H2"):
            sheet.setFont("Helvetica", 12)
            sheet.drawString(60, 120, "A heading of")
            sheet.drawString(60, 105, "two lines")
        sheet.say("P", 60, 88, "with text below")
        sheet.next()
    assert kinds(sheet.data()) == set()


def test_nearly_empty_page():
    """ensures that a page with a line or two is named, unless it is the last."""
    with sheets() as sheet:
        sheet.say("P", 60, 700, "One line")
        sheet.next()
        filled(sheet)
        sheet.next()
        sheet.say("P", 60, 700, "The end")
        sheet.next()
    (flaw,) = check(sheet.data())
    assert (flaw.page, flaw.kind) == (1, "unused")


def _two_pages():
    with sheets() as sheet:
        for _ in range(2):
            sheet.say("TH", 60, 700, "Title")
            sheet.say("TD", 60, 680, "cell")
            sheet.say("TD", 60, 100, "cell")
            sheet.next()
    return sheet.data()


def test_split_row():
    """ensures that a short row over two pages is named, and a tall one is not."""
    data = _two_pages()
    whole = [("TH", [(1, 0)]), ("TD", [(1, 1)]), ("TD", [(1, 2)]), ("TD", [(2, 1)])]
    assert check(with_table(data, whole)) == []
    short = [*whole[:2], ("TD", [(1, 2), (2, 1)])]
    assert kinds(with_table(data, short)) == {"split row"}
    tall = [*whole[:1], ("TD", [(1, 1), (1, 2), (2, 1), (2, 2)])]
    assert check(with_table(data, tall)) == []


def test_titles_without_a_row():
    """ensures that column titles at the foot, their rows on the next page, are named."""
    rows = [("TH", [(1, 0)]), ("TD", [(2, 1)]), ("TD", [(2, 2)])]
    (flaw,) = check(with_table(_two_pages(), rows))
    assert flaw.kind == "split row" and "titles" in flaw.what


def test_command_line(tmp_path, capsys):
    """ensures that the program prints a line a flaw and ends with 1 if there is any."""
    with sheets() as sheet:
        sheet.say("P", 20, 400, "Stray")
        sheet.next()
    bad, good = tmp_path / "bad.pdf", tmp_path / "good.pdf"
    bad.write_bytes(sheet.data())
    with sheets() as sheet:
        filled(sheet)
        sheet.next()
    good.write_bytes(sheet.data())
    assert main([str(good)]) == 0 and capsys.readouterr().out == ""
    assert main([str(good), str(bad)]) == 1
    assert "bad.pdf: page 1: outside" in capsys.readouterr().out


def test_limits_are_no_laxer_than_a_punched_hole():
    """ensures that the free side holds a punched hole: 12 mm to its centre and 3 mm more
    (ISO 838, from memory, unverified)."""
    assert pagecheck.SIDE >= (12 + 3) / 25.4 * 72
