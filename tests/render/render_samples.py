"""An invented advisory with every kind of block. Places, people, prices and numbers are made up."""

from __future__ import annotations

import datetime as dt

from loambrief.findings.model import Status
from loambrief.report.blocks import (
    Attachment,
    Bullets,
    Callout,
    CalloutKind,
    Column,
    Fact,
    Heading,
    KeepTogether,
    KeyFacts,
    Numbered,
    PageBreak,
    Paper,
    Paragraph,
    Relationship,
    ReportModel,
    Row,
    RowKind,
    Span,
    Style,
    Table,
)
from loambrief.report.page_text import page_words
from loambrief.report.parts import (
    ActionCard,
    Calculation,
    CalculationList,
    EvidenceLine,
    FindingBlock,
    FirstAction,
    LimitLine,
    SignOff,
    SourceEntry,
    SourceList,
    Summary,
)
from loambrief.report.text import Writer

WORDS = page_words(Writer())
CLIENT = "Okonjo & Dray <Bench> Farms"
NB = "\u00a0"


def source(number: int) -> Span:
    """A link to a source."""
    return Span(f"[{number}]", link=f"#source-{number}", describe=f"source {number}")


SUMMARY = Summary(
    kicker="Crop and soil advisory · Fennimore Field Consulting",
    title="Lower Bench: lime first, then air, and no more gypsum",
    facts=(
        Fact("Grower", CLIENT),
        Fact("Field", "Lower Bench (LB-3)"),
        Fact("Area", f"38{NB}ac"),
        Fact("Crop", "Alfalfa, third stand year"),
        Fact("Sampled", f"22{NB}September{NB}2026"),
        Fact("Prepared", f"14{NB}October{NB}2026"),
        Fact("Adviser", "R. Fennimore, certified crop adviser 40817"),
        Fact("Yield goal", f"5.5{NB}ton/ac, best 3 of 5 years"),
    ),
    message="The top two inches are too sour for alfalfa, and the soil below six inches is too "
    "hard for roots when it dries. Spread lime this fall. Wait with potash until the re-test.",
    limits=(
        LimitLine("The top 2 in are too acid.", "pH 5.4 where 6.5 to 6.8 is wanted. Measured, "
                  "high confidence.", "#finding-ph"),
        LimitLine("A hard layer starts at 7 in.", f"Median 310{NB}psi at 9 in, soil moist. "
                  "Measured, medium confidence.", "#finding-pan"),
        LimitLine("Potassium may be short.", f"112{NB}ppm, critical level 120 to 150{NB}ppm. "
                  "Too close to call.", "#finding-k"),
    ),
    actions=(
        FirstAction(1, "Spread lime", "Ag lime, 82 % effective", f"1.5{NB}ton/ac", f"38{NB}ac",
                    f"57{NB}ton", "$2,410", f"by 15{NB}Nov{NB}2026",
                    "Dust hurts eyes and lungs: mask and goggles at the spreader.", "#action-1"),
        FirstAction(2, "Subsoil the headlands", "Straight shank, 12 in deep", "one pass",
                    f"6{NB}ac", "", "$168", "when dry enough to shatter", "", "#action-2"),
        FirstAction(3, "Re-test potassium", "8 cores from each half", "", f"38{NB}ac", "2 samples",
                    "$56", f"March{NB}2027", "", "#action-3"),
    ),
    cost_line="All three: $2,634. Budget: $3,000.",
    avoid=(
        "Gypsum: sodium is 1.2 % of the exchange. There is nothing for it to push out.",
        "Foliar calcium: the leaf sap reading of 6 Brix does not say that calcium is short.",
        "A sulfur product: sulfate in the well water brings 30 lb/ac a season.",
    ),
    contact=(
        "R. Fennimore, +1 555 0142, before any change to rate or date.",
        "Spreader operator: agree the pass width first.",
    ),
    valid_until=f"1{NB}October{NB}2027, or until lime or manure goes on that is not in this plan.",
    notes=("Not measured: soil nitrate, boron, irrigation water chloride. What drops out for "
           "want of them is listed under “What we do not know”.",),
)

FINDING_PH = FindingBlock(
    title="The top two inches are too acid for alfalfa",
    mark=Status.LIMITING,
    status="limits the crop",
    confidence="high (two depths, same lab, methods match)",
    grade="measured",
    anchor="finding-ph",
    reading="pH 5.4",
    reference=("6.5 to 6.8 ", source(1)),
    body=(
        "Nitrogen and rain have soured the surface. Below two inches the soil is still at 6.3. "
        "Nodule bacteria live in the top, so the thin sour layer matters more than the average.",
    ),
    support=(
        EvidenceLine(f"Water pH 5.4 at 0 to 2{NB}in, 6.1 at 0 to 6{NB}in.", "measured",
                     (source(2),)),
        EvidenceLine("Buffer pH 6.4 says the sourness is stored, not only on the surface.",
                     "calculated", (source(1), " ", source(3))),
        EvidenceLine("Sheep sorrel at the north end.", "screening sign"),
    ),
    against=(
        EvidenceLine("Nodules were pink on 7 of 10 plants dug.", "observed"),
        EvidenceLine("The grower limed “some years ago”; no record of the rate.", "observed"),
    ),
    context=(EvidenceLine("Rule of the trade: calcium 65 to 75 % of the exchange. Trials found no "
                          "yield gain from it when pH was right.", "common practice",
                          (source(3),)),),
    blocks=(
        Callout(CalloutKind.PRACTICE, (
            Paragraph("Saturation of calcium is 61 %. The trade would call that low. No source "
                      "ties it to yield on this soil."),), "calcium share"),
    ),
)
FINDING_PAN = FindingBlock(
    title="A hard layer starts at seven inches",
    mark=Status.WATCH,
    status="watch",
    confidence="medium (8 places, moisture judged by hand)",
    grade="measured",
    anchor="finding-pan",
    reading=f"310{NB}psi at 9{NB}in",
    reference=(f"300{NB}psi ", source(2)),
    body=("Roots slow down above about 300 psi. The reading was taken in moist soil.",),
    support=(EvidenceLine("5 of 8 profiles pass 300 psi between 7 and 11 in.", "measured"),),
)
FINDING_K = FindingBlock(
    title="Potassium is too close to call",
    mark=Status.UNCERTAIN,
    status="not certain",
    confidence="low",
    grade="measured",
    anchor="finding-k",
    reading=f"112{NB}ppm",
    reference=f"120 to 150{NB}ppm",
    blocks=(
        Callout(CalloutKind.UNCERTAIN, (
            Paragraph("One composite sample for 38 acres cannot tell the two halves apart."),
            Bullets(("North half: hay hauled off for four years.", "South half: grazed.")),
        ), "one sample"),
    ),
)
FINDINGS_MORE = (
    FindingBlock("Phosphorus is enough", Status.ADEQUATE, "enough", "high", "measured",
                 reading=f"34{NB}ppm", reference=f"20{NB}ppm"),
    FindingBlock("Boron is above what beans stand", Status.EXCESS, "too much", "medium",
                 "measured",
                 reading=f"2.6{NB}ppm", reference=f"2.0{NB}ppm"),
    FindingBlock("Brix of the crop: 6", Status.NOTED, "noted", "low", "screening sign",
                 reading=f"6{NB}°Brix"),
)

ACTIONS = (
    ActionCard(
        1, "Spread 1.5 ton/ac of ag lime", "action-1",
        source="Ag lime, 82 % effective calcium carbonate, Harrow Ridge quarry (invented)",
        rate=f"1.5{NB}ton/ac as spread", time=f"after the last cutting, by 15{NB}November{NB}2026",
        place="whole field, on the surface; do not plow it in",
        range=f"1.2 to 1.9{NB}ton/ac", total=f"57{NB}ton, three truck loads",
        cost="$63.42 per acre, $2,410 in all (price of September 2026, invented)",
        why=(("pH 5.4 in the top two inches: ", Span("finding 1", link="#finding-ph")),
             "Lime needs months to work; spring is too late for the first cutting."),
        how=("Check the spreader’s width with trays first.", "Half the rate each way across.",
             "Re-test the top two inches after 18 months."),
        notes=("Rounded from 1.47 to the spreader’s step of 0.25 ton/ac.",),
        money="$2,410", cautions="C1, C2, C3",
        tag="Inside the budget",
    ),
    ActionCard(
        2, "Subsoil the headlands", "action-2", source="Straight shank subsoiler",
        rate="one pass, 12 in deep", time="late summer, when the soil shatters", place="6 ac",
        cost="$28.00 per acre, $168 in all",
        why=(("Readings above 300 psi: ", Span("finding 2", link="#finding-pan")),),
        depends="Lime first: it moves down the slots.",
        money="$168", cautions="C4",
    ),
    ActionCard(
        3, "Re-test potassium in two halves", "action-3", rate="no product", place="north, south",
        time=f"March{NB}2027", why=(("Too close to call: ", Span("finding 3", link="#finding-k")),),
    ),
)

RESULTS = Table(
    (Column("Test"), Column("0–2 in", "right"), Column("0–6 in", "right"), Column("Unit"),
     Column("Critical", "right"), Column("Method and lab")),
    (
        Row(("Acidity and lime",), RowKind.GROUP),
        ("pH in water", "5.4", "6.1", "", "6.5", "1:1 water, Bellwether Soil Lab (invented)"),
        ("Buffer pH", "6.4", "6.6", "", "", "Sikora buffer"),
        Row(("Nutrients",), RowKind.GROUP),
        ("Phosphorus", "41", "34", "ppm", "20", "Mehlich 3"),
        ("Potassium", "160", "112", "ppm", "120–150", "Mehlich 3"),
        ("Boron", "", "2.6", "ppm", "2.0", "hot water"),
        ("Sodium", "<10", "18", "ppm", "", "Mehlich 3"),
    ),
    caption="What the lab found, beside the level it is held against",
    note="A blank means not measured. “<” means less than the lab can see.",
    row_headers=True,
    anchor="results",
)
COSTS = Table(
    (Column("Action"), Column("Per acre", "right", unit="$"), Column("Total", "right", unit="$")),
    (("Lime", "63.42", "2,410"), ("Subsoil", "28.00", "168"), ("Re-test", "1.47", "56"),
     Row(("All", "", "2,634"), RowKind.TOTAL)),
    caption="What it costs",
)
RECORD = Table(
    (Column("Planned", weight=3), Column("Done on", weight=2), Column("Rate used", weight=2),
     Column("Weather, remarks", weight=4)),
    (("Lime 1.5 ton/ac", "", "", ""), ("Subsoil 6 ac", "", "", ""), ("Re-test", "", "", "")),
    caption="Record of what was done", fill_in=True, row_headers=True,
)
CALCULATIONS = CalculationList(tuple(
    Calculation(
        "East field", answer, inputs, outside, note, f"calc-{i + 1}",
        group=(Span(name, bold=True), f" {formula} ", source(1 + i % 3)))
    for i, (name, answer, inputs, formula, outside, note) in enumerate((
        ("Lime requirement", f"1.21{NB}ton/ac of 100 % effective CaCO₃",
         (Fact("buffer pH", "6.4"), Fact("target pH", "6.5"), Fact("depth", f"2{NB}in")),
         "lime_requirement", "", ""),
        ("Lime as sold", f"1.47{NB}ton/ac", (Fact("requirement", f"1.21{NB}ton/ac"),
         Fact("effective", "82 %")), "lime_product_rate", "", "rounded to 1.5"),
        ("Cation exchange capacity", f"11.8{NB}meq/100{NB}g",
         (Fact("Ca", f"1,440{NB}ppm"), Fact("Mg", f"210{NB}ppm"), Fact("K", f"112{NB}ppm"),
          Fact("Na", f"18{NB}ppm"), Fact("acidity", f"2.4{NB}meq/100{NB}g")),
         "cec_by_summation", "", ""),
        ("Exchangeable sodium", "0.7 %", (Fact("Na", f"0.08{NB}meq"), Fact("CEC", f"11.8{NB}meq")),
         "exchangeable_sodium_pct", "", ""),
        ("Share of soil over 300 psi", "62 %", (Fact("readings", "5 of 8"),),
         "compaction_share", "Outside the published range: fewer than 10 profiles", ""),
    ))))
SOURCES = SourceList((
    SourceEntry("[1]", "An invented lime guide for trial pages, third edition, 2025, table 4.",
           "source-1", "https://example.org/lime?table=4&edition=3", "Read in its published text."),
    SourceEntry("[2]", "Field handbook of made-up penetrometer work, 2019, p. 12.", "source-2",
           note="From memory, not checked."),
    SourceEntry("[3]", "Nobody, A. and Noone, B. (2011) Ratios that do not pay. Journal of Samples "
           "7:1–9.", "source-3", "https://example.org/ratios"),
))
SIGN_OFF = SignOff(
    adviser=(Fact("Adviser", "R. Fennimore"), Fact("Credential", "Certified crop adviser"),
             Fact("Number, valid to", f"40817, 31{NB}December{NB}2027"),
             Fact("Business", "Fennimore Field Consulting")),
    statement="I prepared this advisory from the samples and readings listed in it. What was not "
    "measured is named.",
    interest="none; the adviser sells no products and takes no commission.",
    acknowledgement="I have received this advisory and had it explained. The decision what to "
    "apply is mine.",
    adviser_name="R. Fennimore",
    grower_name="T. Okonjo",
    anchor="sign-off",
    field="Adviser",
    client_field="Client",
)


def blocks(figures: bool = False) -> tuple:
    """All blocks, with or without charts."""
    pictures: tuple = ()
    if figures:
        from render_figures import PICTURES

        pictures = PICTURES
    return (
        SUMMARY,
        Heading(1, "The field in numbers", "numbers"),
        Paragraph("What was measured, where and how.", Style.LEAD),
        KeyFacts((Fact("Soil", "Canfield silt loam"), Fact("Slope", "3 %"), Fact("Water", "none"),
                  Fact("Last lime", "not recorded")), 4),
        *pictures,
        RESULTS,
        Heading(1, "What limits the field, and how we know"),
        FINDING_PH, FINDING_PAN, FINDING_K, *FINDINGS_MORE,
        Heading(2, "What we do not know"),
        Bullets(("Soil nitrate: the nitrogen credit of the stand cannot be checked.",
                 "Boron at 0 to 2 in: no statement about the surface.")),
        Heading(1, "What to do, in order", bookmark="Plan"),
        *ACTIONS,
        COSTS,
        Heading(2, "What comes after"),
        Numbered(("Look at the stand on 1 May: 5 plants per square foot or more.",
                  "Re-test pH in spring 2028.")),
        KeepTogether((
            Paragraph("Cautions in one place", Style.LEAD),
            Callout(CalloutKind.CAUTION, (
                Bullets(("Lime dust burns eyes and lungs.", "Call before you dig.")),
                Paragraph(("Local rules come first. See ", Span("action 1", link="#action-1"),
                           ".")),
            )),
        )),
        Callout(CalloutKind.NOTE, (Paragraph(
            ("Write to ", Span("the office", link="mailto:office@example.org"), " with questions."
             )),)),
        Heading(1, "How each number was worked out", "calculations"),
        CALCULATIONS,
        Heading(1, "Sources"),
        SOURCES,
        PageBreak(),
        Heading(1, "Record and sign-off"),
        RECORD,
        SIGN_OFF,
    )


def model(figures: bool = False, **changes: object) -> ReportModel:
    """The whole document."""
    settings: dict = {
        "title": "Lower Bench: lime first, then air",
        "case_id": "lower-bench-2026",
        "date": dt.date(2026, 10, 14),
        "words": WORDS,
        "blocks": blocks(figures),
        "author": "R. Fennimore",
        "subject": f"Crop and soil advisory for {CLIENT}",
        "running_head": f"{CLIENT} · Lower Bench",
        "paper": Paper.LETTER,
        "attachments": (
            Attachment("lower-bench-2026.yaml", b"case: {id: lower-bench-2026}\n",
                       "application/yaml", Relationship.SOURCE, "Case file"),
            Attachment("lower-bench-2026.json", b'{"schema_version": 1}\n', "application/json",
                       Relationship.ALTERNATIVE, "The advisory as data"),
        ),
    }
    return ReportModel(**{**settings, **changes})
