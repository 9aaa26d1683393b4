"""Invented lab files: one set of results, laid out as a dozen laboratories might.

Every layout must come to :data:`TRUTH`. No layout is copied from a real laboratory.
"""

import datetime as dt
import io

import openpyxl

from loambrief.case.intake import take_in
from loambrief.case.intake_map import load_map

TRUTH = {  # (sample, depth in inches) -> field -> (value, limit sign); absent = not measured
    ("A1", (0.0, 2.0)): {"ph": (5.4, None), "phosphorus": (5.0, "<"), "potassium": (182.0, None),
                         "calcium": (1040.0, None)},
    ("A1", (0.0, 6.0)): {"ph": (5.9, None), "phosphorus": (17.5, None), "potassium": (121.0, None),
                         "calcium": (1260.0, None)},
    ("B2", (0.0, 6.0)): {"ph": (6.8, None), "phosphorus": (41.0, None), "calcium": (1720.0, None)},
}
METHODS = 'methods: {ph: "water 1:1", phosphorus: mehlich-3-icp, cations: mehlich-3}\n'
LAB = "lab: {name: {value: Dunmore Soil Laboratory}}\n"
RESULTS = """\
results:
  - {column: pH, to: ph}
  - {column: P (ppm), to: phosphorus, unit: ppm}
  - {column: K (ppm), to: potassium, unit: ppm}
  - {column: Ca (ppm), to: calcium, unit: ppm}
"""
DATE = "date: {value: 2026-10-02}"


def mapping(table="{decimal: point}", sample=None, results=RESULTS, methods=METHODS, lab=LAB,
            confirmed="yes", more=""):
    """Text of a mapping."""
    sample = sample or "{id: {column: Sample}, depth: {column: Depth, unit: in}, " + DATE + "}"
    return (f"loambrief_map: 1\nconfirmed: {confirmed}\ntable: {table}\nsample: {sample}\n{lab}"
            f"{methods}{results}{more}")


def workbook(rows, title="Results", formats=()):
    """Bytes of an .xlsx; ``formats`` are (cell, number format)."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    for cell, shown_as in formats:
        sheet[cell].number_format = shown_as
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


PLAIN = """\
Sample,Depth,pH,P (ppm),K (ppm),Ca (ppm)
A1,0-2,5.4,<5,182,1040
A1,0-6,5.9,17.5,121,1260
B2,0-6,6.8,41,,1720
"""
LAYOUTS = {
    "plain": (PLAIN.encode(), mapping()),
    "noise above and below": (
        b"Dunmore Soil Laboratory,,,\nReport 26-4471,,,,\n\n\n" + PLAIN.replace(
            "B2", "\nB2").encode()
        + b"\nOptimum,,6.5,30,130,1400\nSigned,A. Person\n",
        mapping("{decimal: point, end_before: Optimum}"),
    ),
    "semicolons and decimal commas in Latin-1": (
        "Probe;Tiefe;pH;Phosphor (mg/kg);Kalium für Pflanzen (mg/kg);Ca (mg/kg)\n"
        "A1;0-2;5,4;< 5;182;1.040\nA1;0–6;5,9;17,5;121,0;1.260\nB2;0-6;6,8;41;;1.720\n"
        .replace("–", "-").encode("latin-1"),
        mapping("{decimal: comma, thousands: point}",
                "{id: {column: Probe}, depth: {column: Tiefe, unit: in}, " + DATE + "}",
                RESULTS.replace("P (ppm)", "Phosphor (mg/kg)").replace(
                    "K (ppm)", "Kalium für Pflanzen (mg/kg)").replace("Ca (ppm)", "Ca (mg/kg)")
                .replace("unit: ppm", "unit: mg/kg")),
    ),
    "tabs, mark in front, other order": (
        "\ufeffCa (ppm)\tremark\tP (ppm)\tpH\tDepth\tK (ppm)\tSample\n"
        "1,040\twet\t<5\t5.4\t0 to 2 in\t182\tA1\n1,260\t\t17.5\t5.9\t0-6\"\t121\tA1\n"
        "1,720\t\t41\t6.8\t0–6 in\tn/a\tB2\n".encode(),
        mapping("{decimal: point, thousands: comma}", more="ignore: [remark]\n"),
    ),
    "UTF-16 tabs": (PLAIN.replace(",", "\t").encode("utf-16"), mapping()),
    "units in a second header row": (
        b"Sample|Depth|pH|P|K|Ca\n|in||ppm|ppm|ppm\n"
        + PLAIN.split("\n", 1)[1].replace(",", "|").encode(),
        mapping("{decimal: point, header_rows: 2}",
                "{id: {column: Sample}, depth: {column: Depth in, unit: in}, " + DATE + "}",
                RESULTS.replace("(ppm)", "ppm")),
    ),
    "group headings": (
        b",,,Mehlich-3,,,Olsen\nSample,Depth,pH,P,K,Ca,P\n"
        b"A1,0-2,5.4,<5,182,1040,3\nA1,0-6,5.9,17.5,121,1260,9\nB2,0-6,6.8,41,,1720,20\n",
        mapping("{decimal: point, header_rows: 2}",
                results=RESULTS.replace("P (ppm)", "Mehlich-3 P").replace(
                    "K (ppm)", "Mehlich-3 K").replace("Ca (ppm)", "Mehlich-3 Ca"),
                more="ignore: [Olsen P]\n"),
    ),
    "equal headers": (
        PLAIN.replace("P (ppm)", "P (ppm),P (ppm)").replace(",<5", ",1,<5")
        .replace(",17.5", ",2,17.5").replace(",41", ",3,41").encode(),
        mapping(results=RESULTS.replace("column: P (ppm)", "column: P (ppm), nth: 2")),
    ),
    "one row for each sample": (
        b"Sample,pH top,P top,K top,Ca top,pH,P,K,Ca\n"
        b"A1,5.4,<5,182,1040,5.9,17.5,121,1260\nB2,,,,,6.8,41,,1720\n",
        mapping(sample="{id: {column: Sample}, " + DATE + "}", results="results:\n" + "".join(
            f"  - {{column: {c}{end}, to: {f}, depth: {d}{u}}}\n"
            for c, f, u in (("pH", "ph", ""), ("P", "phosphorus", ", unit: ppm"),
                            ("K", "potassium", ", unit: ppm"), ("Ca", "calcium", ", unit: ppm"))
            for end, d in ((" top", "0-2 in"), ("", "0-6 in")))),
    ),
    "one row for each result": (
        b"Lab,Sample,Depth,Test,Result,Units\n"
        + b"".join(f"D,{s},{d},{t},{v},{u}\n".encode() for s, d, *vs in (
            ("A1", "0-2", 5.4, "<5", 182, 1040), ("A1", "0-6", 5.9, 17.5, 121, 1260),
            ("B2", "0-6", 6.8, 41, "", 1720))
            for t, v, u in zip(("pH", "P", "K", "Ca"), vs, ("", "ppm", "ppm", "ppm"),
                               strict=True)),
        mapping("{decimal: point, long: {analyte: Test, result: Result, unit: Units}}",
                results=RESULTS.replace(" (ppm)", "")),
    ),
    "top and bottom in cm, sample named once": (
        b"Sample;from;to;pH;P (ppm);K (ppm);Ca (ppm)\nA1;0;5.08;5.4;<5;182;1040\n"
        b";0;15.24;5.9;17.5;121;1260\nB2;0;15.24;6.8;41;;1720\n",
        mapping("{decimal: point, fill_down: true}",
                "{id: {column: Sample}, depth: {top: from, bottom: to, unit: cm}, " + DATE + "}"),
    ),
    "oxides in mg/100 g and charge": (
        b"Sample,Depth,pH,P2O5 mg/100g,K2O mg/100g,Ca cmol/kg\n"
        b"A1,0-2,5.4,<1.14568,21.9237,5.18988\nA1,0-6,5.9,4.00989,14.5757,6.28774\n"
        b"B2,0-6,6.8,9.39461,,8.58326\n",
        mapping(results="""\
results:
  - {column: pH, to: ph}
  - {column: P2O5 mg/100g, to: phosphorus, unit: mg/100g, form: P2O5}
  - {column: K2O mg/100g, to: potassium, unit: mg/100g, form: K2O}
  - {column: Ca cmol/kg, to: calcium, unit: cmol/kg}
"""),
    ),
    "workbook": (
        workbook([["Dunmore Soil Laboratory"], [],
                  ["Sample", "Depth", "pH", "P (ppm)", "K (ppm)", "Ca (ppm)", "Sampled"],
                  ["A1", "0-2", 5.4, "<5", 182, 1040, dt.date(2026, 10, 2)],
                  ["A1", "0-6", 5.9, 17.5, 121, 1260, dt.date(2026, 10, 2)],
                  ["B2", "0-6", 6.8, 41, None, 1720, dt.datetime(2026, 10, 2)]]),
        mapping("{decimal: comma}", "{id: {column: Sample}, depth: {column: Depth, unit: in}, "
                "date: {column: Sampled}}"),
    ),
    "workbook that shows a limit by its format": (
        workbook([["Sample", "Depth", "pH", "P (ppm)", "K (ppm)", "Ca (ppm)"],
                  ["A1", "0-2", 5.4, 5, 182, 1040], ["A1", "0-6", 5.9, 17.5, 121, 1260],
                  ["B2", "0-6", 6.8, 41, "-", 1720]], formats=[("D2", '"<"0')]),
        mapping(),
    ),
}


def write(folder, content, text, name="results.csv"):
    """Paths of a lab file and its mapping."""
    lab, map_file = folder / name, folder / "map.yaml"
    lab.write_bytes(content if isinstance(content, bytes) else content.encode())
    map_file.write_text(text, encoding="utf-8")
    return lab, map_file


def taken(folder, content, text, field=None):
    """A lab file taken in."""
    lab, map_file = write(folder, content, text)
    return take_in(lab, load_map(map_file), field)


def results_of(case):
    """Results of a case in the form of :data:`TRUTH`."""
    found = {}
    for sample in case.samples:
        for part in sample.increments:
            values = {}
            for name in type(part).model_fields:
                value = getattr(part, name)
                if name in ("depth", "lab_number") or value is None:
                    continue
                values[name] = (value, None) if isinstance(value, float) else (
                    value.value, value.censor)
            found[sample.id, tuple(round(d, 3) for d in part.depth[:2])] = values
    return found
