"""Cases nobody would type on purpose, made from a sample: long names, many samples, few."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import yaml
from sample_reports import CASES, report

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.charts import ChartSpec
from loambrief.charts.budget import BudgetSpec, CostStep
from loambrief.charts.cations import CationBar, CationSpec, Share
from loambrief.charts.salinity import SalinityPoint, SalinitySpec
from loambrief.charts.season import SeasonBar, SeasonSpec
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow, SufficiencySpec
from loambrief.findings.model import Status
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import (
    Block,
    Column,
    Figure,
    FigureRow,
    Heading,
    Paper,
    ReportModel,
    Table,
)
from loambrief.report.chart_text import chart_words, describe
from loambrief.report.parts import ActionCard, EvidenceLine, FindingBlock
from loambrief.report.text import Writer

LONG = ("Ægir Þorvaldsdóttir-Größenbrückner et Fils, Sucesores de la Señora Ñandú "
        "y Compañía Agropecuaria del Valle Alto")
UNBROKEN = "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft"
PARTS = ("samples", "penetrometer", "infiltration", "refractometer", "weeds", "residue", "forage",
         "water", "earlier_applications", "materials", "budget")


def long_names(raw: dict) -> None:
    """Names that fill lines or cannot be broken, everywhere a name may stand."""
    raw["client"]["name"] = LONG
    raw["farm"]["name"] = UNBROKEN
    raw["field"]["name"] = f"{UNBROKEN} {LONG}"
    raw["adviser"]["name"] = LONG
    raw["adviser"]["business"] = UNBROKEN
    raw["case"]["purpose"] = f"{LONG} {UNBROKEN} {LONG}"
    raw["notes"] = [f"{UNBROKEN} {LONG} " * 4]
    for material in raw["materials"]:
        material["name"] = f"{UNBROKEN} {material['name']} {LONG}"[:199]


def three_samples(raw: dict) -> None:
    """Three soil samples of three places."""
    first = raw["samples"][0]
    first["area"] = "14 ac"
    raw["samples"] = []
    for number in range(1, 4):
        sample = copy.deepcopy(first)
        sample["id"], sample["place"] = f"Z{number:02}", f"zone {number}"
        raw["samples"].append(sample)


def one_of_each(raw: dict) -> None:
    """One sample, one cone reading place, one sap reading, one weed, one material."""
    raw["samples"] = raw["samples"][:1]
    raw["samples"][0].pop("area", None)
    raw["penetrometer"]["points"] = raw["penetrometer"]["points"][:1]
    raw["refractometer"]["readings"] = raw["refractometer"]["readings"][:1]
    raw["weeds"] = raw["weeds"][:1]
    raw["materials"] = raw["materials"][:1]


def nothing(raw: dict) -> None:
    """A case with a field and nothing measured."""
    for part in PARTS:
        raw.pop(part, None)


STRESS: dict[str, Callable[[dict], None]] = {
    "long names": long_names, "three samples": three_samples, "one of each": one_of_each,
    "nothing": nothing,
}


def stressed(name: str, folder: Path, paper: str = "letter", units: str = "us") -> bytes:
    """The PDF of a stress case."""
    raw = yaml.safe_load(CASES["acid_corn_ohio"].read_text(encoding="utf-8"))
    STRESS[name](raw)
    path = folder / "case.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False, allow_unicode=True), encoding="utf-8")
    advice = pipeline.advise(load_case(path, paper=paper, units=units))
    return render_pdf(pipeline.report_model(advice))


def _specs(count: int) -> tuple[ChartSpec, ...]:
    """Charts with so many rows."""
    words = chart_words(Writer())
    names = [f"zone {n}, north of the ditch" for n in range(1, count + 1)]
    shares = tuple(Share(ion, share) for ion, share in (
        ("Ca", 55.0), ("Mg", 14.0), ("K", 3.0), ("Na", 1.0), ("H", 27.0)))
    days = [dt.date(2027, 1, 1) + dt.timedelta(days=7 * n) for n in range(count)]
    made = (
        SufficiencySpec(
            title="Tests of all zones", words=words, rows=tuple(SufficiencyRow(
                n, 20.0 + i, 30.0, LevelSide.NEAR, f"{20 + i} ppm; critical level 30",
                "too close to call", 15.0 + i, 25.0 + i) for i, n in enumerate(names))),
        CationSpec(title="Cations of all zones", words=words, bars=tuple(
            CationBar(n, shares, "12 meq/100 g") for n in names)),
        SalinitySpec(
            title="Salt of all zones", words=words, ece_limit=4.0, sodium_limit=15.0,
            sodium_name="ESP", sodium_unit="%", classes=("neither", "saline", "sodic", "both"),
            points=tuple(SalinityPoint(n, 1.0 + i / 8, 2.0 + i / 3)
                         for i, n in enumerate(names))),
        BudgetSpec(title="Cost of all actions", words=words, budget=9000.0, steps=tuple(
            CostStep(i, n, 200.0 + i, i < 30) for i, n in enumerate(names, 1))),
        SeasonSpec(title="When to do what", words=words, bars=tuple(
            SeasonBar(str(i + 1), n, days[i], days[i] + dt.timedelta(days=20), "in time")
            for i, n in enumerate(names))),
    )
    write = Writer().write
    return tuple(replace(spec, alt=describe(spec, write)) for spec in made)


def many_rows(count: int, paper: Paper = Paper.LETTER) -> ReportModel:
    """A document with so many samples, findings, actions and table rows."""
    charts = _specs(count)
    long = ("The soil of this zone holds less than the crop can use, and the layer below holds "
            "no more. ")
    blocks: list[Block] = [
        Heading(1, "Charts"),
        FigureRow(tuple(Figure(spec, half=True) for spec in charts[:2])),
        *(Figure(spec) for spec in charts[2:]),
        Heading(1, "Tables", new_page=True),
        Table((Column("Zone"), Column("Result", "right", unit="ppm"), Column("What it means")),
              tuple((f"zone {n}", f"{n + 0.5}", long * (1 + n % 3)) for n in range(count)),
              caption="One row a zone", row_headers=True),
        Heading(1, "Actions"),
        *(ActionCard(n, f"Spread lime on zone {n}", source="Ag lime", rate="1.5 ton/ac",
                     why=(long,), cautions="C1")
          for n in range(1, count + 1)),
        Heading(1, "Findings", new_page=True),
        *(FindingBlock(f"Zone {n} is too acid", Status.LIMITING, "limits the crop", "high",
                       "measured", body=(long * (1 + n % 4),),
                       support=(EvidenceLine(long, "measured"),)) for n in range(count)),
        Heading(1, "More tables"),
        Table((Column("Zone"), Column("What it means")),
              tuple((f"zone {n}", long * (1 + n % 3)) for n in range(count)), row_headers=True),
    ]
    return replace(report("acid_corn_ohio"), blocks=tuple(blocks), paper=paper, attachments=())
