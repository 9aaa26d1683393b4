"""The single sheets: soil, cone, sap, weeds, water. Labels and boxes, no numbers of their own."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from loambrief.case.schema import MOISTURES, CaseFile
from loambrief.case.sheet_layout import CRUMBS, HOLES, SheetBox
from loambrief.findings.model import say
from loambrief.numbers import symbol
from loambrief.report.blocks import (
    Block,
    Bullets,
    Column,
    Heading,
    KeepTogether,
    PageBreak,
    Paragraph,
    Span,
    Style,
    Table,
    Text,
)
from loambrief.report.fieldsheet_plan import VisitPlan, setting
from loambrief.report.form_blocks import FormCell, FormEntry, FormGrid, FormTable, Tick
from loambrief.report.text import Writer
from loambrief.tables import load
from loambrief.tables.harmful import harmful_row
from loambrief.topics.compaction.formulas import threshold_psi
from loambrief.topics.sampling.formulas_error import constant


@dataclass
class FieldSheet:
    """What every part needs, and which boxes have been placed."""

    case: CaseFile
    plan: VisitPlan
    writer: Writer
    known: Mapping[str, SheetBox]
    used: set[str] = field(default_factory=set)

    def word(self, name: str, /, **params: object) -> str:
        return self.writer.write(say(f"fieldsheet.{name}", **params))

    def name(self, word: str) -> str:
        """A word of the case as printed."""
        return self.word("word", name=word)

    def label(self, name: str, unit: str = "") -> str:
        text = self.word(f"label_{name}")
        return f"{text}, {self.unit(unit)}" if unit else text

    def unit(self, text: str) -> str:
        """A unit, or a number and its unit, as the reader's language writes it."""
        return " ".join(symbol(part, self.writer.signs) for part in text.split(" "))

    def cell(self, name: str, label: str, about: str = "", *, weight: float = 1.0,
             bare: bool = False) -> FormCell:
        """A labelled box; ``bare`` ones stand under a column title instead."""
        box = self._box(name)
        unit = {"Brix": "°Brix", "F": "°F", "C": "°C"}.get(box.unit, box.unit)
        printed = self.label(label, unit)
        says = f"{about}: {printed}" if about else printed
        return FormCell("" if bare else printed,
                        FormEntry(name, says, box.kind == "lines", box.longest), weight=weight)

    def numbered(self, name: str, label: str, printed: str, about: str) -> FormCell:
        """A box of a row of like ones, under a number of its own."""
        return FormCell(printed, self.cell(name, label, about).entry)

    def ticks(self, name: str, label: str, about: str = "", *, weight: float = 1.0,
              bare: bool = False) -> FormCell:
        """A labelled row of squares, one for each answer."""
        group = [b for b in self.known.values() if b.kind == "tick" and b.group == name]
        printed = self.label(label)
        lead = f"{about}: {printed}" if about else printed
        made = tuple(Tick(self._box(b.name).name, f"{lead}: {self.name(b.value)}",
                          self.name(b.value)) for b in group)
        return FormCell("" if bare else printed, ticks=made, weight=weight)

    def _box(self, name: str) -> SheetBox:
        self.used.add(name)
        return self.known[name]


def visit(sheet: FieldSheet) -> list[Block]:
    """Who, when, in which weather."""
    return [FormGrid(((sheet.cell("visit/date", "date", weight=1.1),
                       sheet.cell("visit/by", "by", weight=1.3),
                       sheet.cell("visit/weather", "weather", weight=1.6)),))]


def soil(sheet: FieldSheet) -> list[Block]:
    """How many cores, how deep and where; a card for each zone."""
    plan, word = sheet.plan, sheet.word
    spread = load("sampling/variation").find(test="phosphorus")["field_cv_low"]
    steps = [
        word("soil_cores", cores=plan.cores, fewest=constant("cores_min")),
        word("soil_where"), word("soil_depths", depths=list(plan.slices)),
        word("soil_residue"), word("soil_pail"),
    ]
    why = word("soil_why", cv=spread, error=setting("error_wanted"),
               needed=plan.core_need.value, most=constant("area_max"))
    blocks: list[Block] = [
        Heading(1, word("heading_soil"), anchor="soil", new_page=True),
        Bullets(tuple(steps)), Paragraph(why, Style.NOTE),
        FormGrid(((sheet.cell("soil/lab", "lab", weight=1.4),
                   sheet.cell("soil/pattern", "pattern")),)),
    ]
    for row, zone in enumerate(plan.layout.zones, start=1):
        blocks.append(_zone(sheet, row, zone, plan.large[row - 1]))
    return blocks


def _zone(sheet: FieldSheet, row: int, zone, large: bool) -> Block:
    at = f"soil/{row}"
    if zone.id is None:
        title = about = sheet.word("zone_new")
    else:
        about = sheet.word("zone", id=zone.id, place=zone.place or "")
        title = sheet.word("zone_title", id=zone.id, place=zone.place or "", area=zone.area or "",
                           texture=sheet.name(zone.texture) if zone.texture else "",
                           cores=sheet.plan.cores, large=large)
    slices = tuple(
        Tick(name, f"{about}: {sheet.label('slices')}: {depth}", depth)
        for number, depth in enumerate(map(sheet.writer.place, sheet.plan.slices), start=1)
        for name in (f"{at}/slice{number}=1",))
    sheet.used |= {tick.name for tick in slices}
    first = []
    if zone.id is None:
        first += [sheet.cell(f"{at}/id", "zone_id", about, weight=0.9),
                  sheet.cell(f"{at}/area", "area", about, weight=0.7)]
    if zone.place is None:
        first.append(sheet.cell(f"{at}/place", "place", about, weight=1.4))
    if zone.texture is None:
        first.append(sheet.cell(f"{at}/texture", "texture", about, weight=1.2))
    taken = (sheet.cell(f"{at}/cores", "cores", about, weight=0.7),
             FormCell(sheet.label("slices"), ticks=slices, weight=1.2),
             sheet.ticks(f"{at}/residue", "residue", about, weight=1.9))
    rows = [taken, (sheet.ticks(f"{at}/fizz", "fizz", about),)]
    sent = tuple(Tick(box.name, f"{about}: {sheet.label('sent')}: {sheet.word(box.value)}",
                      sheet.word(box.value))
                 for box in sheet.known.values() if box.name.startswith(f"{at}/sent"))
    if sent:
        sheet.used |= {tick.name for tick in sent}
        rows.append((FormCell(sheet.label("sent"), ticks=sent),))
    if first:
        rows.insert(0, tuple(first))
    return FormGrid(tuple(rows), title)


def life(sheet: FieldSheet) -> list[Block]:
    """Earthworms in square holes, and crumbs in water."""
    word = sheet.word

    def numbered(name: str, numbers: range) -> tuple[FormCell, ...]:
        return tuple(sheet.numbered(f"life/{name}/{n}", name, str(n), str(n)) for n in numbers)

    half = CRUMBS // 2
    return [
        Heading(1, word("heading_life"), anchor="life"),
        Bullets((word("life_worms", holes=HOLES, side=sheet.writer.quantity(8, "in", 0)),
                 word("life_slake", crumbs=CRUMBS), word("life_lab"))),
        Paragraph(word("life_worth"), Style.NOTE),
        FormGrid(((sheet.cell("life/side", "side", weight=1.6),
                   *numbered("worms", range(1, HOLES + 1))),), word("label_worms")),
        FormGrid((numbered("slake", range(1, half + 1)),
                  numbered("slake", range(half + 1, CRUMBS + 1))), word("label_slake")),
    ]


def cone(sheet: FieldSheet) -> list[Block]:
    """The penetrometer: how, then points by depths."""
    plan, word, layout = sheet.plan, sheet.word, sheet.plan.layout
    si = sheet.writer.system == "si"
    steps = [
        word("cone_moisture"), word("cone_push", speed=sheet.writer.quantity(1.0, "in")),
        word("cone_where", points=layout.points), word("cone_stop"),
    ]
    why = word("cone_why", cv=setting("cone_cv"), error=setting("error_wanted"),
               needed=plan.point_need.value, onset=threshold_psi("onset"),
               limit=threshold_psi("limit"), digits=1 if si else 0)
    columns = [Column(word("column_point"), weight=0.42), Column(sheet.label("place"), weight=1.5)]
    unit = sheet.unit(layout.depth_unit)
    columns += [Column(f"{d:g} {unit}", weight=0.85) for d in layout.depths]
    columns.append(Column(sheet.label("stopped"), weight=1.1))
    rows = []
    for row in range(1, layout.points + 1):
        at, about = f"cone/{row}", word("point", number=row)
        cells: list[Text | FormCell] = [f"P{row}",
                                        sheet.cell(f"{at}/place", "place", about, bare=True)]
        for number, depth in enumerate(layout.depths, start=1):
            cells.append(sheet.cell(f"{at}/{number}", "reading",
                                    f"{about}, {depth:g} {unit}", bare=True))
        cells.append(sheet.cell(f"{at}/stopped", "stopped", about, bare=True))
        rows.append(tuple(cells))
    return [
        Heading(1, word("heading_cone"), anchor="cone", new_page=True),
        Bullets(tuple(steps)), Paragraph(why, Style.NOTE),
        FormGrid(((sheet.ticks("cone/cone", "cone"),
                   sheet.cell("cone/instrument", "instrument", word("heading_cone"))),
                  (sheet.ticks("cone/moisture", "moisture", weight=3.2),
                   sheet.cell("cone/water", "water", weight=1.2)))),
        KeepTogether((_feel(sheet),)),
        PageBreak(),
        FormTable(tuple(columns), tuple(rows),
                  word("cone_caption", unit=layout.pressure_unit)),
    ]


def _feel(sheet: FieldSheet) -> Block:
    """Five words for soil moisture, by hand."""
    rows = []
    for row in load("sampling/moisture_feel"):
        word = str(row["moisture"])
        share = sheet.word("feel_share", low=row["low_pct"], high=row["high_pct"])
        rows.append(((Span(sheet.name(word), bold=True),), share,
                     sheet.word(f"feel_{MOISTURES.index(word) + 1}")))
    return Table((Column(sheet.label("moisture")), Column(sheet.word("column_share")),
                  Column(sheet.word("column_feel"))), tuple(rows),
                 caption=sheet.word("feel_caption"), note=sheet.word("feel_note"))


def sap(sheet: FieldSheet) -> list[Block]:
    """Crop and weed beside each other, replicates, temperature, time and line."""
    word, layout = sheet.word, sheet.plan.layout
    blocks: list[Block] = [
        Heading(1, word("heading_sap"), anchor="sap", new_page=True),
        Bullets((word("sap_refuse"), word("sap_zero"), word("sap_pair"),
                 word("sap_line"))),
        Paragraph(word("sap_worth"), Style.NOTE),
        FormGrid(((sheet.cell("sap/instrument", "instrument", word("heading_sap"), weight=1.6),
                   sheet.ticks("sap/atc", "atc", weight=1.3),
                   sheet.ticks("sap/zeroed", "zeroed", weight=1.3)),)),
    ]
    for row, plant in enumerate(layout.plants, start=1):
        at = f"sap/{row}"
        shown = sheet.name(plant.name) if plant.name else ""
        about = word("plant", number=row, role=plant.role, name=shown)
        first = [] if plant.name else [sheet.cell(f"{at}/plant", "plant", about, weight=1.4)]
        first += [sheet.cell(f"{at}/part", "part", about, weight=1.5),
                  sheet.cell(f"{at}/place", "place", about, weight=1.1),
                  sheet.cell(f"{at}/temperature", "temperature", about, weight=1.1),
                  sheet.cell(f"{at}/time", "time", about, weight=0.9)]
        second = [sheet.numbered(f"{at}/{n}", "replicate",
                                 f"{n}. {sheet.known[f'{at}/{n}'].unit}", f"{about}, {n}")
                  for n in range(1, layout.replicates + 1)]
        second.append(sheet.ticks(f"{at}/line", "line", about, weight=1.9))
        blocks.append(FormGrid((tuple(first), tuple(second)), about, 32.0))
    return blocks


def weeds(sheet: FieldSheet) -> list[Block]:
    """Weeds by species: cover, stage, how sure."""
    word = sheet.word
    rows = []
    for row, weed in enumerate(sheet.plan.layout.weeds, start=1):
        at = f"weeds/{row}"
        about = word("weed", number=row, name=weed.local_name or weed.species or "")
        if weed.species is None:
            first: Text | FormCell = sheet.cell(f"{at}/species", "species", about, bare=True)
        else:
            harm = harmful_row(weed.species) or harmful_row(weed.local_name or weed.species)
            first = (Span(sheet.name(weed.local_name or weed.species), bold=True),
                     *((Span(f"\n{weed.species}", italic=True),) if weed.local_name else ()),
                     *((Span(f"\n{word('gloves')}"),) if harm else ()))
        rows.append((first, sheet.cell(f"{at}/cover", "cover", about, bare=True),
                     sheet.cell(f"{at}/stage", "stage", about, bare=True),
                     sheet.cell(f"{at}/place", "place", about, bare=True),
                     sheet.ticks(f"{at}/sure", "sure", about, bare=True)))
    columns = (Column(sheet.label("species"), weight=1.55), Column(sheet.label("cover"), unit="%",
               weight=0.62), Column(sheet.label("stage"), weight=0.95),
               Column(sheet.label("place"), weight=1.0), Column(sheet.label("sure"), weight=1.75))
    classes = [(str(r["code"]), r["low_pct"], r["high_pct"])
               for r in load("weeds/cover_daubenmire")]
    return [
        Heading(1, word("heading_weeds"), anchor="weeds", new_page=True),
        Bullets((word("weeds_cover"), word("weeds_size"), word("weeds_name"))),
        Paragraph(word("weeds_classes", classes=classes), Style.NOTE),
        FormTable(columns, tuple(rows), word("weeds_caption"), height=34.0),
    ]


def water(sheet: FieldSheet) -> list[Block]:
    """Infiltration, residue cover and water table."""
    word, layout = sheet.word, sheet.plan.layout
    rings = [sheet.numbered(f"water/{n}", "ring", f"{n}. min", str(n))
             for n in range(1, layout.rings + 1)]
    depth = sheet.writer.quantity(40, "in", 0)
    return [
        Heading(1, word("heading_water"), anchor="water"),
        Bullets((word("water_ring", water=sheet.unit(layout.ring_unit)), word("water_residue"),
                 word("water_table", depth=depth))),
        FormGrid(((sheet.cell("water/place", "place", word("heading_water"), weight=1.6), *rings),
                  (sheet.cell("water/residue", "residue_cover"),
                   sheet.cell("water/table", "water_table")))),
    ]


def remarks(sheet: FieldSheet) -> list[Block]:
    """Room for everything else."""
    return [FormGrid(((sheet.cell("remarks", "remarks"),),), height=84.0)]
