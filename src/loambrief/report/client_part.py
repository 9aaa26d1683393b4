"""What several fields of a client share: the map, tests side by side, one shopping list."""

import math
from collections.abc import Sequence
from dataclasses import replace

from loambrief import numbers
from loambrief.actions.model import Order
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import main_increment
from loambrief.charts.compare import CompareColumn, CompareSpec
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.report.blocks import Block, Column, Figure, Heading, Paragraph, Style, Table, Text
from loambrief.report.chart_text import describe
from loambrief.report.context import Context
from loambrief.report.pictures_map import client_map
from loambrief.report.plan_money import packages

MEASURES = (("ph", "ph", "pH", 1, 4.0), ("organic_matter", "organic_matter", "%", 1, 0.0),
            ("phosphorus", "phosphorus", "ppm", 0, 0.0), ("potassium", "cations", "ppm", 0, 0.0),
            ("ec", "ec", "dS/m", 1, 0.0))
"""Field of the slice, its method, house unit, digits, start of the scale."""
HALF_POUND = 0.5


def client_blocks(contexts: Sequence[Context]) -> list[Block]:
    """Map, comparison and shared order of several fields; each only if there is something.

    The fields are of one client, in one language and unit system.
    """
    first = contexts[0]
    blocks: list[Block] = []
    figures = [spec for spec in (client_map(contexts), comparison(contexts)) if spec is not None]
    if figures:
        blocks.append(Heading(2, first.write(say("client.heading_compare")), anchor="compare"))
        blocks += [Figure(spec) for spec in figures]
    table = shopping_list(contexts)
    if table is not None:
        blocks += [Heading(2, first.write(say("client.heading_orders")), anchor="orders"),
                   Paragraph(first.write(say("client.orders_intro"))), table,
                   Paragraph(first.write(say("client.orders_note")), Style.NOTE)]
    return blocks


def comparison(contexts: Sequence[Context]) -> CompareSpec | None:
    """Soil tests of every sample, a panel for each measure and method; None for one sample."""
    first = contexts[0]
    rows = [(c, s, i) for c in contexts for s in c.case.samples
            if (i := main_increment(s)) is not None]
    if len(rows) < 2:
        return None
    columns = []
    for name, method, unit, digits, low in MEASURES:
        methods = sorted({getattr(s.methods, method) or "" for _, s, i in rows
                          if getattr(i, name) is not None})
        for kind in methods:
            values = tuple(_value(first, s, i, name, method, kind, unit) for _, s, i in rows)
            label = first.word(f"result_{name}")
            if len(methods) > 1:
                label = first.write(say("client.by_method", label=label, method=kind))
            shown = "" if unit == "pH" else numbers.shown(1.0, unit, first.system)[1]
            columns.append(CompareColumn(label, shown, values, digits, low=low))
    names = tuple(_name(c, s) for c, s, _ in rows)
    acid = min(((i.ph, n) for (_, _, i), n in zip(rows, names, strict=True)
                if i.ph is not None), default=None)
    spec = CompareSpec(
        title=first.write(say("client.compare_title", lowest=acid and acid[1],
                              ph=acid and acid[0])),
        subtitle=first.write(say("client.compare_sub")),
        note=first.write(say("client.compare_note")),
        words=first.chart_words,
        names=names,
        columns=tuple(columns),
    )
    return replace(spec, alt=describe(spec, first.write)) if spec.has_data() else None


def _name(context: Context, sample: Sample) -> str:
    field = context.case.field.name
    return f"{field}, {place_of(sample).label}" if len(context.case.samples) > 1 else field


def _value(context: Context, sample: Sample, increment: Increment, name: str, method: str,
           kind: str, unit: str) -> float | None:
    found = getattr(increment, name)
    if found is None or (getattr(sample.methods, method) or "") != kind:
        return None
    if isinstance(found, float):
        return found
    if not found.plain:
        return None
    return numbers.shown(found.value, unit, context.system)[0]


def shopping_list(contexts: Sequence[Context]) -> Table | None:
    """Materials that the plans order, added up; None if no two fields order the same.

    Fields order together what has the same name, supplier and package in the same season.
    """
    first = contexts[0]
    groups: dict[tuple, list[tuple[Context, Order]]] = {}
    for context in contexts:
        offered = {m.id: m for m in context.case.materials}
        for order in context.plan.orders:
            material = offered[order.material_id]
            least = 0.0 if material.minimum_load is None else material.minimum_load.value
            key = (order.pass_number, order.material_name, material.supplier or "",
                   order.package, order.package_lb or 0.0, least)
            groups.setdefault(key, []).append((context, order))
    if not any(len(found) > 1 for found in groups.values()):
        return None
    rows: list[tuple[Text, ...]] = []
    for key, found in sorted(groups.items()):
        needed = sum(o.needed_lb for _, o in found)
        apart = sum(o.ordered_lb for _, o in found)
        together = ordered_together(needed, key[4], key[5])
        rows.append((
            first.write(say("actions.order_season", material=key[1], number=key[0])),
            ", ".join(dict.fromkeys(c.case.field.name for c, _ in found)),
            first.order(needed, "lb"),
            packages(first, found[0][1], together, lambda pounds: first.order(pounds, "lb")),
            first.write(say("client.apart_same")) if apart - together <= HALF_POUND
            else first.write(say("client.apart_more", amount=first.order(apart, "lb"),
                                 more=first.order(apart - together, "lb"))),
        ))
    return Table(
        (Column(first.write(say("actions.column_material")), weight=3),
         Column(first.write(say("client.column_fields")), weight=2),
         Column(first.write(say("actions.column_spread")), "right", weight=1.3),
         Column(first.write(say("actions.column_order")), "right", weight=2),
         Column(first.write(say("client.column_apart")), "right", weight=2)),
        tuple(rows), caption=first.write(say("client.orders_caption")), row_headers=True)


def ordered_together(needed_lb: float, package_lb: float, least_lb: float) -> float:
    """Mass to order at once [lb]: the least load or more, in whole packages where there are any.

    ``needed_lb`` is spread on all fields together; a package or least load of 0 is none.
    """
    wanted = max(needed_lb, least_lb)
    return math.ceil(wanted / package_lb - 1e-6) * package_lb if package_lb else wanted
