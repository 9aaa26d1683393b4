"""The month cover: what it counts, and that it is a document like every other."""

import io
import re

import pikepdf
import pytest
from batch_fakes import figures
from pdf_text import page_texts

from loambrief.batch.cover import Setting, _Cover, month_cover, month_start
from loambrief.batch.figures import DueCheck, LabTest, LimitingFactor
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import Figure, KeyFacts, Table, plain

ACID = LimitingFactor("acidity", "acidity.ph", "Soil pH 5.1", 2)
RICH = LimitingFactor("nutrients", "nutrients.p", "Phosphorus 240 ppm", 2, excess=True)
POOR = LimitingFactor("nutrients", "nutrients.p", "Phosphorus 4 ppm", 2)
ODD = LimitingFactor("salinity", "salinity.never_named", "Something", 2)


def month(**changes):
    """Four fields on three farms of two clients."""
    return [
        figures("a1", "Ash", farm="Home", limits=(ACID, POOR), **changes),
        figures("a2", "Ash", farm="Home", limits=(ACID,), **changes),
        figures("a3", "Ash", farm="Hill", limits=(ACID, ODD), **changes),
        figures("b1", "Birch", farm="Bank", limits=(RICH, ODD), **changes),
    ]


def cover(fs, month_name="2026-10", failed=0, **setting):
    return month_cover(fs, month_name, failed, b"case_id\r\n", Setting.of(fs, **setting))


def charts(model):
    return {b.spec.title: b.spec for b in model.blocks if isinstance(b, Figure)}


def tables(model):
    return [[[spaced(plain(c)) for c in row.cells] for row in b.rows]
            for b in model.blocks if isinstance(b, Table)]


def spaced(text):
    return text.replace("\u00a0", " ")


def said(model):
    """All words of the blocks, hard blanks as plain ones."""
    return repr(model.blocks).replace("\\xa0", " ")


def test_problems_are_counted_by_farm():
    """ensures that farms, not fields, are counted, and too much is not taken for too little."""
    spec = charts(cover(month()))["Soil too acid for the crop: on 2 of 3 farms"]
    assert [(r.label, r.value, r.detail) for r in spec.rows] == [
        ("Soil too acid for the crop", 2, "3 fields"), ("Salts and sodium", 2, "2 fields")]
    assert spec.whole == 3


def test_no_problem_recurs():
    """ensures that a month without a shared problem says so in words."""
    fs = [figures("a", "Ash", limits=(POOR,)), figures("b", "Birch", limits=(RICH,))]
    model = cover(fs)
    assert not any("farms" in title for title in charts(model))
    assert "No problem limits fields on more than one farm." in said(model)


def test_money_by_client_and_currency():
    """ensures that sums are right and different currencies are never added."""
    fs = [*month(), figures("c1", "Cedar", currency="CAD", spent=100.0, waiting=0,
                            waiting_cost=0.0)]
    rows = tables(cover(fs))[0]
    assert rows == [
        ["Cedar", "1", "40 ac", "CA$100", "–", "–"],
        ["All clients", "1", "40 ac", "CA$100", "–", "–"],
        ["Ash", "3", "120 ac", "$2,844", "$2,100", "–"],
        ["Birch", "1", "40 ac", "$948", "$700", "–"],
        ["All clients", "4", "160 ac", "$3,792", "$2,800", "–"],
    ]
    assert not any("Most money" in title for title in charts(cover(fs)))
    assert any("Most money goes into liming: $3,600 of $3,792" in t for t in charts(cover(month())))


def test_the_lead_and_facts_add_up():
    """ensures that cases, clients, farms, fields, area and work are counted, each once."""
    fs = [*month(waiting=2, unpriced=1, chosen=3),
          figures("c1", "Cedar", farm="Home", field="Field a1", date="2026-09-30", waiting=0,
                  unpriced=0, waiting_cost=0.0, spent=10.0, area_ac=5.0)]
    model = cover(fs)
    facts = next(b for b in model.blocks if isinstance(b, KeyFacts)).facts
    values = [spaced(plain(fact.value)) for fact in facts]
    assert values[0] == "October 2026" and values[1] == "Ilse Varga"
    assert re.findall(r"\d+", values[2]) == ["4", "5"]  # of five cases four are of the month
    assert values[3] == "3, 4, 5" and values[4].startswith("165 ac")
    assert re.findall(r"\d+", values[5]) == ["14", "8"]
    assert [re.sub(r"[^\d.]", "", amount) for amount in _Cover(
        tuple(fs), "2026-10", 0, b"", Setting.of(fs)).sums("spent")] == ["3802"]


def test_work_is_counted_by_field():
    """ensures that kinds of work carry fields and actions."""
    kinds = (("lime", 2, 900.0), ("drain", 1, 50.0))
    fs = [figures("a", "Ash", kinds=kinds), figures("b", "Ash", kinds=kinds[:1])]
    spec = charts(cover(fs))["Most often advised: liming, on 2 of 2 fields"]
    assert [(r.value, r.detail) for r in spec.rows] == [(2, "4 actions"), (1, "1 action")]


def test_dates_of_the_quarter():
    """ensures that what is due or runs out is listed from the month to three months on."""
    due = (DueCheck("2026-09-30", "before", ""), DueCheck("2026-10-01", "first", ""),
           DueCheck("2027-01-31", "last", ""), DueCheck("2027-02-01", "after", ""),
           DueCheck("", "undated", ""), DueCheck("2027-03-05", "later", ""))
    tests = (LabTest("soil", "north", "2023-05-01", "2026-04-30"),
             LabTest("water", "canal", "2024-02-01", "2027-01-31"),
             LabTest("forage", "first cut", "2024-02-02", "2027-02-01"))
    model = cover([figures("a", "Ash", followups=due, tests=tests, valid_until="2026-12-31")])
    follow, ends = tables(model)[1:]
    assert [row[3] for row in follow] == ["first", "last"]
    assert [row[3] for row in ends] == ["soil test of 1 May 2023: north",
                                        "the advisory a",
                                        "water test of 1 February 2024: canal"]
    coming = next(s for t, s in charts(model).items() if "in the year after" in t)
    assert [(r.label, r.value) for r in coming.rows] == [("February 2027", 1), ("March 2027", 1)]


def test_nothing_due():
    """ensures that an empty quarter is said, with the next date."""
    text = said(cover([figures("a", "Ash", tests=(), valid_until="")]))
    assert "No follow-up is due" in text and "14 October 2027" in text
    assert "Nothing expires" in text


def test_failed_cases_are_owned_up_to():
    """ensures that the cover says how many cases it leaves out."""
    assert "2 cases could not be made" in said(cover(month(), failed=2))
    assert "could not be made" not in said(cover(month()))


def test_order_of_cases_leaves_no_trace():
    """ensures that the cover does not depend on the order in which cases were made."""
    assert cover(month()) == cover(month()[::-1])


def test_month_arithmetic():
    """ensures that months run over the year."""
    assert str(month_start("2026-11", 4)) == "2027-03-01"


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_document_like_every_other(language):
    """ensures PDF/A metadata, tags, vectors, the table attached, and the same bytes twice."""
    model = cover(month(followups=(DueCheck("2026-11-02", "Test", "lime"),)), language=language)
    pdf = render_pdf(model)  # issued documents are checked against PDF/A here
    assert pdf == render_pdf(model)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert "/StructTreeRoot" in opened.Root and list(opened.attachments) == ["summary.csv"]
        for page in opened.pages:
            assert not page.get_images()
    text = "".join(page_texts(pdf))
    assert ("October 2026" if language == "en" else "Octubre de 2026") in re.sub(r"\s+", " ", text)


def test_a_very_long_month():
    """ensures that thousands of cases give a cover that can be read."""
    fs = [figures(f"c{n}", f"Client {n:04d}", limits=(ACID,)) for n in range(900)]
    model = cover(fs)
    assert all(len(t) <= 400 for t in tables(model))
    assert "501 more rows stand in summary.xlsx." in said(model)
