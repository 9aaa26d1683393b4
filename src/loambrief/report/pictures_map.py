"""Sketch maps: the zones of one field, and the fields of one client."""

from collections.abc import Iterable, Sequence

from loambrief.case.boundary import Position, Shape, plane_m, shapes
from loambrief.charts.sketch_map import MapArea, MapSpec
from loambrief.findings.model import Finding, say
from loambrief.findings.places import place_of
from loambrief.report.applicator import spread_actions
from loambrief.report.chart_text import described
from loambrief.report.context import Context
from loambrief.report.terms import small
from loambrief.units import M_PER_FT

SMALLEST_SHARE = 0.04
"""A field drawn smaller than this share of the map is not worth a map (our choice)."""


def zone_map(context: Context) -> MapSpec | None:
    """The zones of a field by what limits each, with what goes on it; None without zones.

    Rates are those of the spreading sheet: first passes that the money covers.
    """
    case = context.case
    if case.boundary is None:
        return None
    drawn = shapes(case.boundary)
    places = {s.id.casefold(): place_of(s) for s in case.samples}
    zones = [(s, places[s.sample.casefold()]) for s in drawn if s.sample is not None]
    if not zones:
        return None
    ids = {place.id for place in places.values()}
    worst = context.diagnosis.worst(1000)
    whole = [f for f in worst if f.place.id not in ids]
    return _spec(
        context, "zones",
        [(shape.polygons, place.label, next((f for f in worst if f.place.id == place.id), None),
          place.label) for shape, place in zones],
        outlines=[s for s in drawn if s.sample is None],
        whole=context.word(f"topic_{whole[0].topic}").lower() if whole else "",
        rates=[_rates(context, place.id) for _, place in zones],
    )


def _rates(context: Context, zone: str) -> str:
    """What is spread on a zone, also as part of the whole field."""
    told = [context.word("map_rate", what=action.material_name
                         or context.writer.short(action.title),
                         rate=context.amount(action.rate, action.rate_unit))
            for action in spread_actions(context.plan)
            if action.rate and action.place.id.casefold() in ("", zone.casefold())]
    return "; ".join(told)


def client_map(contexts: Sequence[Context]) -> MapSpec | None:
    """The fields of a client by what limits each; None unless several are drawn.

    Also None where they lie so far apart that the smallest could not be told from a dot.
    """
    rows = []
    for context in contexts:
        drawn = shapes(context.case.boundary) if context.case.boundary is not None else ()
        whole = [s for s in drawn if s.sample is None] or list(drawn)
        if whole:
            worst = context.diagnosis.worst(1)
            field = context.case.field
            label = context.write(say("client.field_entry", field=field.name,
                                      area=field.area.value))
            rows.append((tuple(p for s in whole for p in s.polygons), label,
                         worst[0] if worst else None, field.name))
    if len(rows) < 2 or not _near(rows):
        return None
    return described(_spec(contexts[0], "fields", rows), contexts[0].write)


def _near(rows: Sequence[tuple]) -> bool:
    spans = [_span(p for p in polygons) for polygons, *_ in rows]
    west, south, east, north = (f(s[i] for s in spans)
                                for i, f in enumerate((min, min, max, max)))
    longest = max(east - west, north - south)
    return all(max(s[2] - s[0], s[3] - s[1]) >= SMALLEST_SHARE * longest for s in spans)


def _span(polygons: Iterable) -> tuple[float, float, float, float]:
    corners = [c for rings in polygons for c in rings[0]]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def _spec(context: Context, kind: str,
          rows: Sequence[tuple[tuple, str, Finding | None, str]],
          outlines: Sequence[Shape] = (), whole: str = "",
          rates: Sequence[str] = ()) -> MapSpec:
    looks = [context.write(say("client.nothing"))]
    origin = rows[0][0][0][0][0]
    areas, said = [], []
    for number, (polygons, label, finding, name) in enumerate(rows, 1):
        look = looks[0] if finding is None else context.word(f"topic_{finding.topic}")
        if look not in looks:
            looks.append(look)
        said.append({"label": label, "look": small(look)})
        detail = "" if finding is None else context.writer.without(finding.title, finding.place)
        areas.append(MapArea(str(number), label, detail, looks.index(look),
                             _plane(polygons, origin), rates[number - 1] if rates else "", name))
    si = context.system == "si"
    return MapSpec(
        title=context.write(say(f"client.{kind}_title", rows=said)),
        subtitle=context.write(say(f"client.{kind}_sub", whole=whole)),
        note=context.write(say("client.map_note")),
        words=context.chart_words,
        areas=tuple(areas),
        outlines=tuple(p for s in outlines for p in _plane(s.polygons, origin)),
        looks=(looks[0], *map(small, looks[1:])),
        length_unit="m" if si else "ft",
        unit_m=1.0 if si else M_PER_FT,
    )


def _plane(polygons: Sequence, origin: Position) -> tuple:
    return tuple(tuple(tuple(plane_m(corner, origin) for corner in ring) for ring in rings)
                 for rings in polygons)
