"""The plain-text twin: whole, in order, narrow, and nothing but text."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
from model_texts import headings, inside, texts
from render_samples import model
from sample_reports import CASES, report

from loambrief.charts import ChartSpec
from loambrief.errors import RenderFault
from loambrief.findings.model import Status
from loambrief.render.plain import WIDTH, render_plain
from loambrief.report.blocks import (
    Block,
    Bullets,
    Column,
    DocumentStatus,
    Fact,
    Figure,
    Heading,
    KeyFacts,
    LogoPrint,
    Numbered,
    Paragraph,
    Row,
    RowKind,
    Table,
    Words,
)
from loambrief.report.parts import (
    Calculation,
    CalculationList,
    FindingBlock,
    PhotoPrint,
    Photos,
    SignOff,
    Summary,
)
from loambrief.report.text import Writer

SPACE = re.compile(r"\s+")


@pytest.fixture(scope="module", params=("synthetic", *CASES))
def both(request):
    made = model(figures=True) if request.param == "synthetic" else report(request.param)
    return made, render_plain(made).decode()


def test_no_text_is_lost(both):
    """ensures that every text of every block and every chart's text alternative is there."""
    made, text = both
    joined = SPACE.sub("", text)
    for block in made.blocks:
        for part in texts(block):
            assert SPACE.sub("", part) in joined, part
    unbarred = SPACE.sub("", text.replace("\n|", "\n"))
    for spec in inside(made.blocks):
        if isinstance(spec, ChartSpec):
            assert SPACE.sub("", spec.alt) in unbarred


def test_headings_are_those_of_the_model(both):
    """ensures that underlined lines are the model's headings, in order."""
    made, text = both
    parts = re.findall(r"(?<=\n\n)((?:[^\n]+\n){1,6})(?:=+|-+|\.+)\n", text)
    found = [SPACE.sub(" ", part).strip() for part in parts]
    assert found == [SPACE.sub(" ", h).strip() for h in headings(made)]


def test_lines_are_narrow(both):
    """ensures that no line is wider than the width unless a single word is."""
    _, text = both
    for line in text.split("\n"):
        assert len(line) <= WIDTH or " " not in line.strip(" -|0123456789.[]:"), line
    assert "\n\n\n\n" not in text and text.endswith("\n") and "\r" not in text


def test_rows_become_records():
    """ensures that each cell stands beside its column's title, with the unit at the number."""
    table = Table((Column("Test"), Column("Result", unit="ppm"), Column("Left out")),
                  (Row(("Group",), RowKind.GROUP), ("P", "34", "")), caption="Results")
    lines = render_plain(model(blocks=(table,))).decode().split("\n")
    assert lines[lines.index("Results"):][:6] == [
        "Results", "", "[Group]", "", "Test: P", "  Result: 34 ppm"]
    assert not any("Left out" in line for line in lines)


def test_controls_are_dropped():
    """ensures that a name cannot move the cursor or turn the direction of writing."""
    text = render_plain(model(blocks=(Heading(1, "a\x1b[2Jb\u202ec\x00"), Paragraph("x\ty")))
                        ).decode()
    assert "a[2Jbc" in text and "x y" in text
    assert not set(text) & set("\x1b\u202e\x00\t")


def test_unknown_block_is_named():
    """ensures that a block nothing can write is refused, not left out."""
    with pytest.raises(RenderFault, match="no way"):
        render_plain(model(blocks=(Block(),)))


NAMES = Words(tuple((name, f"<{name}>") for name, _ in Writer().fixed("page")))
"""Each fixed word as its own name, so that what is held here does not move with the wording."""
TWIN = Path(__file__).parent / "plain_twin.txt"


def _written(*blocks, **changes):
    settings = {"words": NAMES, "number": "LB-7", "revision": "rev. 2",
                "status": DocumentStatus.ISSUED, "running_head": "Lower Bench", **changes}
    return render_plain(model(blocks=blocks, **settings)).decode()


def test_the_whole_document_reads_as_it_did():
    """ensures that each kind of block has its words, marks, indents and empty lines as they
    stand in the file beside this one, which was read through by eye."""
    made = model(figures=True, words=NAMES, number="LB-7", revision="rev. 2")
    assert render_plain(made).decode() == TWIN.read_text(encoding="utf-8")


def test_head_says_what_and_whether_it_holds():
    """ensures that the first lines name the document and its standing, once."""
    one = Paragraph("x")
    assert _written(one) == "Lower Bench · LB-7 · rev. 2\n\nx\n"
    assert _written(one, running_head="", number=None, case_id="lb-3") == "lb-3\n\nx\n"
    for status, word in ((DocumentStatus.DRAFT, "<draft>"),
                         (DocumentStatus.WITHDRAWN, "<withdrawn>")):
        assert _written(one, status=status).split("\n")[1] == f"*** {word} ***"


def _body(*blocks):
    return _written(*blocks).removeprefix("Lower Bench · LB-7 · rev. 2\n").strip("\n")


def test_lists_keep_their_numbers_and_lose_empty_lines():
    """ensures that numbers go on from the first, an empty item takes none, and what follows
    the first line of an item stands below its text."""
    assert _body(Numbered(("a", " ", "b\nc"), start=9)) == "9. a\n10. b\n    c"
    assert _body(Bullets(("a", "", "b " * 40))) == (
        "- a\n- " + " ".join("b" * 37) + "\n  " + " ".join("b" * 3))


def test_spaces_that_hold_are_no_place_to_break():
    """ensures that a number stays with its unit, and that many spaces are one."""
    text = "w" * 70 + " 1.5\u00a0ton/ac"
    assert _body(Paragraph(text)) == "w" * 70 + "\n1.5 ton/ac"
    assert _body(Paragraph("a   b\tc\n\nd")) == "a b c\nd"


def test_underlines_are_as_long_as_the_longest_line():
    """ensures that a heading of two lines is underlined to its wider one, each level its way."""
    wide = "a " * 38 + "bb " * 3
    assert _body(Heading(1, wide)) == (
        " ".join("a" * 38) + "\nbb bb bb\n" + "=" * 75)
    assert _body(Heading(1, "a"), Heading(2, "b"), Heading(3, "c")) == (
        "a\n=\n\nb\n-\n\nc\n.")


@pytest.mark.parametrize(("level", "underline"), [(1, "-"), (2, "."), (3, ".")])
def test_a_finding_is_a_heading_below_the_last_one(level, underline):
    """ensures that a finding's title stands one level below the heading before it, and that
    the third level is the last (own rule)."""
    finding = FindingBlock("low", Status.NOTED, "noted")
    assert _body(Heading(level, "a"), finding).split("\n")[3:5] == ["low", underline * 3]


def test_facts_without_a_value_have_a_dash():
    """ensures that a fact is never left out, and its value goes on below it, indented."""
    assert _body(KeyFacts((Fact("Area", ""), Fact("Soil", "x " * 40)))) == (
        "Area: –\nSoil: " + " ".join("x" * 35) + "\n  " + " ".join("x" * 5))


def test_tables_to_write_in_keep_their_blanks():
    """ensures that a place to write in is a line, a table without rows is its words, and the
    note comes last."""
    columns = (Column("Place"), Column("Depth", unit="in"))
    assert _body(Table(columns, (("north", ""),), fill_in=True, note="in pencil")) == (
        "Place: north\n  Depth: __________\n\nin pencil")
    assert _body(Table(columns, (("north", ""), ("south", "4")))) == (
        "Place: north\n\nPlace: south\n  Depth: 4 in")
    assert _body(Table(columns, (), empty="none sampled", caption="not this")) == "none sampled"


def test_summary_without_limits_or_actions_says_so():
    """ensures that what is said in place of limits and actions is there, the logo by its words."""
    logo = LogoPrint(b"", 1, 1, "A heron in reeds")
    made = Summary(title="T", message="M", no_limits="no limit", no_actions="no action", logo=logo,
                   limits=(), actions=(), notes=("last",))
    assert _body(made) == (
        "A heron in reeds\n\n\nT\n=\n\nM\n\n<limits>\n--------\n\nno limit\n\n"
        "<first_actions>\n---------------\n\nno action\n\nlast")


def test_signed_documents_have_no_lines_to_sign_on():
    """ensures that the signature's words take the place of the adviser's line, not the grower's."""
    made = SignOff((Fact("Name", "R. F."),), "I prepared this.", "none", "Received.",
                   signed="Signed.", grower_name="T. O.")
    assert _body(Heading(1, "S"), made) == (
        "S\n=\n\n<adviser>\n---------\n\nName: R. F.\n<interest>: none\nI prepared this.\nSigned.\n"
        "\n<acknowledgement>\n-----------------\n\nReceived.\n\n<signature>: __________\n"
        "<name>: T. O.\n<date>: __________")


def test_photos_are_told():
    """ensures that a photo leaves its caption, and its words where they say more."""
    photos = (PhotoPrint(b"", 1, 1, "Ditch", "Ditch"), PhotoPrint(b"", 1, 1, "Roots", "Bent roots"))
    assert _body(Photos(photos)) == "| Ditch\n| Roots\n| Bent roots"


def test_calculations_name_what_they_took():
    """ensures that a formula's name stands once over its calculations, with their inputs below."""
    items = tuple(Calculation(name, "1", (Fact("pH", "5"), Fact("depth", "2 in")), outside=outside,
                              group="Lime", number=number)
                  for name, outside, number in (("north", "far", ""), ("south", "", "c7")))
    assert _body(CalculationList(items)) == (
        "Lime:\n- 1 north: 1; far\n  <inputs>: pH 5; depth 2 in\n"
        "- c7 south: 1\n  <inputs>: pH 5; depth 2 in")


def test_figures_need_their_words():
    """ensures that a chart without a text alternative is refused, and its lines are barred."""
    spec = next(s for s in inside(model(figures=True).blocks) if isinstance(s, ChartSpec))
    with pytest.raises(RenderFault, match="no text alternative"):
        render_plain(model(blocks=(Figure(dataclasses.replace(spec, alt=" ")),)))
    assert _body(Figure(dataclasses.replace(spec, alt="a\nb", note="n"))) == "| a\n| b\n| n"
