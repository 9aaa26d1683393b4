"""Rate maps for the spreader: zones with what goes on them, as GeoJSON and as a shapefile.

Both say the same as the spreading sheet: first passes with a rate that the money covers. The
shapefile follows the ESRI technical description of 1998, one layer a product; names of its
columns have ten letters at most (dBASE). Units stand beside every number, in ASCII.
"""

import json
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise

import shapefile

from loambrief import numbers
from loambrief.actions.model import Action, Plan
from loambrief.case.boundary import Shape, shapes
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Place
from loambrief.report.applicator import spread_actions
from loambrief.report.text import Writer

WGS84 = ('GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],'
         'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]')
_EPOCH = (1980, 1, 1, 0, 0, 0)
COLUMNS = (("ZONE", "C", 40), ("PRODUCT", "C", 80), ("RATE", "N", 18), ("RATE_UNIT", "C", 16),
           ("TOTAL", "N", 18), ("TOT_UNIT", "C", 16), ("AREA", "N", 18), ("AREA_UNIT", "C", 8),
           ("PASSES", "N", 4), ("STATUS", "C", 12), ("NUMBER", "C", 40))


@dataclass(frozen=True)
class RateMap:
    """A rate map as files, and what could not be drawn."""

    files: Mapping[str, bytes]
    undrawn: tuple[str, ...]
    """Jobs of the sheet whose zone no shape of the case shows, in words."""


def rate_map(case: CaseFile, plan: Plan, writer: Writer, *, status: str = "draft",
             number: str | None = None, stem: str = "") -> RateMap:
    """The rate map of a plan: ``<stem>-rates.geojson`` and ``.zip``, if anything can be drawn.

    ``status`` and ``number`` of the advisory stand with each zone, so that a draft is known in the
    cab; ``stem`` is the case id if empty.
    """
    drawn = shapes(case.boundary) if case.boundary is not None else ()
    rows: list[tuple[Action, Sequence[Shape], dict[str, object]]] = []
    undrawn = []
    for action in spread_actions(plan):
        here = _where(action.place, drawn)
        if here:
            rows.append((action, here, _row(action, case, writer, status, number)))
        else:
            undrawn.append(f"{writer.short(action.title)}: "
                           f"{writer.place(action.place) or case.field.name}")
    stem = stem or case.case.id
    if not rows:
        return RateMap({}, tuple(undrawn))
    return RateMap({f"{stem}-rates.geojson": _geojson(rows),
                    f"{stem}-rates.zip": _layers(rows, case)}, tuple(undrawn))


def _where(place: Place, drawn: Sequence[Shape]) -> list[Shape]:
    """Shapes of a place; the whole field is its own outline, or all of its zones."""
    if place.id:
        return [s for s in drawn if s.sample is not None
                and s.sample.casefold() == place.id.casefold()]
    return [s for s in drawn if s.sample is None] or list(drawn)


def _row(action: Action, case: CaseFile, writer: Writer, status: str,
         number: str | None) -> dict[str, object]:
    """What stands with a zone, by column."""
    system = case.case.units

    def shown(value: float | None, unit: str) -> tuple[float | None, str]:
        if value is None:
            return None, ""
        amount, name = numbers.shown(value, unit, system)
        return round(amount, 3), name

    rate, rate_unit = shown(action.rate, action.rate_unit)
    total, total_unit = shown(action.total, action.total_unit)
    area, area_unit = shown(action.area_ac, "ac")
    values = (action.place.id, action.material_name or writer.short(action.title), rate,
              rate_unit, total, total_unit, area, area_unit, action.passes, status, number or "")
    return dict(zip((name for name, _, _ in COLUMNS), values, strict=True))


def _geojson(rows: Iterable[tuple[Action, Sequence[Shape], dict[str, object]]]) -> bytes:
    """RFC 7946; a feature for each product on each shape."""
    features = []
    for action, here, row in rows:
        for shape in here:
            many = [[[list(p) for p in ring] for ring in rings] for rings in shape.polygons]
            geometry = ({"type": "Polygon", "coordinates": many[0]} if len(many) == 1 else
                        {"type": "MultiPolygon", "coordinates": many})
            properties = {"action": action.id, **{k.lower(): v for k, v in row.items()}}
            features.append(json.dumps({"type": "Feature", "properties": properties,
                                        "geometry": geometry}, ensure_ascii=False))
    return ('{"type": "FeatureCollection", "features": [\n' + ",\n".join(features)
            + "\n]}\n").encode()


def _layers(rows: Sequence[tuple[Action, Sequence[Shape], dict[str, object]]],
            case: CaseFile) -> bytes:
    """A shapefile for each product, in one packed file: the same bytes whenever it is made."""
    products: dict[str, list[tuple[Sequence[Shape], dict[str, object]]]] = {}
    for action, here, row in rows:
        name = re.sub(r"[^a-z0-9]+", "-", (action.material_id or action.id).lower()).strip("-")
        products.setdefault(name or "product", []).append((here, row))
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, layer in products.items():
            for ending, content in _shapefile(layer, case).items():
                entry = zipfile.ZipInfo(f"{name}.{ending}", _EPOCH)
                entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, 3
                entry.external_attr = 0o644 << 16
                packed.writestr(entry, content)
    return out.getvalue()


def _shapefile(layer: Sequence[tuple[Sequence[Shape], dict[str, object]]],
               case: CaseFile) -> dict[str, bytes]:
    parts = {ending: BytesIO() for ending in ("shp", "shx", "dbf")}
    with shapefile.Writer(shp=parts["shp"], shx=parts["shx"], dbf=parts["dbf"],
                          shapeType=shapefile.POLYGON, encoding="utf-8") as writer:
        for name, kind, size in COLUMNS:
            decimals = 3 if kind == "N" and size > 4 else 0
            writer.field(name, kind, size, decimals)
        for here, row in layer:
            for shape in here:
                writer.poly([_turned(ring, clockwise=i == 0) for rings in shape.polygons
                             for i, ring in enumerate(rings)])
                writer.record(**row)
    files = {ending: part.getvalue() for ending, part in parts.items()}
    day = case.case.date  # the header's date is the case's, not today's (dBASE: years from 1900)
    files["dbf"] = (files["dbf"][:1] + bytes([day.year - 1900, day.month, day.day])
                    + files["dbf"][4:])
    return {**files, "prj": WGS84.encode(), "cpg": b"UTF-8"}


def _turned(ring: Sequence[tuple[float, float]], *, clockwise: bool) -> list[list[float]]:
    """A ring in the direction that the format wants: outer ones clockwise, holes the other way."""
    twice = sum((x2 - x1) * (y2 + y1) for (x1, y1), (x2, y2) in
                pairwise(ring))
    points = [list(p) for p in ring]
    return points if (twice > 0) is clockwise else points[::-1]
