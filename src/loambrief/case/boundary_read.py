"""Boundaries from other programs: KML and shapefiles become the GeoJSON that a case names.

KML is read by OGC 07-147r2 (polygons of placemarks, longitude before latitude, WGS 84); a
shapefile by the ESRI technical description of 1998 (polygon types, one ring after the other)
with pyshp. Clause numbers are from memory, unverified. Everything that is not an area is left
alone. The file may come from anybody: size, depth and counts are bounded, KML may have no
document type (so no entities), and a shapefile's coordinates count only where its .prj says that
they are longitude and latitude of WGS 84.
"""

import json
import math
import re
import zipfile
from collections.abc import Callable, Mapping
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.parsers import expat

import shapefile

from loambrief.case.boundary import MOST_CORNERS, MOST_ZONES
from loambrief.case.problems import DataPath, Fault, Problem
from loambrief.case.reader import read_bytes
from loambrief.case.source import Mark, SourceText, problem_at
from loambrief.errors import CaseProblems

LARGEST = 8 * 1024 * 1024
"""Bytes of a file, and of each file in a packed one."""
MOST_MEMBERS = 40
DEEPEST = 40
POLYGONS = frozenset({shapefile.POLYGON, shapefile.POLYGONM, shapefile.POLYGONZ})
SIDE_FILES = ("shp", "shx", "dbf", "prj", "cpg")
PROPERTY = "sample"

ENDINGS = (".kml", ".shp", ".zip")
"""Names of files that are read here; GeoJSON needs no reading of its own."""

Placed = tuple[Mapping[str, Any], list[list[list[list[float]]]], Mark]
"""Properties, polygons as GeoJSON has them, and where the area stands in the file."""


def boundary_from(path: Path, attribute: str = PROPERTY) -> dict[str, Any]:
    """The GeoJSON of a ``.kml``, a ``.shp`` with its files beside it, or a ``.zip`` with one in it.

    ``attribute`` holds the id of a zone's sample. An area without it is the field.

    Raises
    ------
    CaseProblems
        The file cannot be read as such, is too large, or its coordinates are not WGS 84.
    """
    if path.suffix.lower() not in ENDINGS:
        raise _fault(path, f"the ending {path.suffix.lower()!r}", ".kml, .shp or .zip")
    return _geojson(_placed(_raw(path), path), path, attribute)


def read_boundary(path: Path, attribute: str, name: Path) -> tuple[SourceText, dict[str, bytes]]:
    """The GeoJSON with the line of each area, for a case that names the file itself.

    ``name`` is that of the file in problems. Also what it was read from, by the ending of the
    name (".kml"; ".shp", ".dbf", ".prj").
    """
    raw = _raw(path)
    placed = _placed(raw, name)
    marks: dict[DataPath, Mark] = {("features", i): where for i, (*_, where) in enumerate(placed)}
    text = raw[".kml"].decode("utf-8", "replace") if ".kml" in raw else ""
    source = SourceText(str(name), text, _geojson(placed, name, attribute), marks,
                        {**marks, (): Mark(1, 1)})
    return source, raw


def side_files(path: Path) -> tuple[Path, ...]:
    """The files that a boundary consists of, in the order of their endings."""
    if path.suffix.lower() != ".shp":
        return (path,)
    both = ((path.with_suffix(f".{e}"), path.with_suffix(f".{e.upper()}")) for e in SIDE_FILES)
    return tuple(found for pair in both if (found := next((p for p in pair if p.is_file()), None)))


def _raw(path: Path) -> dict[str, bytes]:
    """Content by ending, in small letters."""
    if not path.is_file():
        read_bytes(path, LARGEST)  # says why it cannot be read
    return {side.suffix.lower(): read_bytes(side, LARGEST) for side in side_files(path)}


def _placed(raw: Mapping[str, bytes], path: Path) -> list[Placed]:
    ending = path.suffix.lower()
    if ending == ".kml":
        return _kml(raw[".kml"], path)
    if ending == ".zip":
        return _shapefile(_unpacked(raw[".zip"], path), path)
    return _shapefile({name[1:]: content for name, content in raw.items()}, path)


def _geojson(placed: list[Placed], path: Path, attribute: str) -> dict[str, Any]:
    if not placed:
        raise _fault(path, "no polygon", "at least one polygon")
    corners = sum(len(ring) for _, polygons, _ in placed for rings in polygons for ring in rings)
    if len(placed) > MOST_ZONES or corners > MOST_CORNERS:
        raise _fault(path, f"{len(placed)} areas with {corners} corners",
                     f"at most {MOST_ZONES} areas with {MOST_CORNERS} corners")
    return {"type": "FeatureCollection",
            "features": [_feature(properties, polygons, attribute)
                         for properties, polygons, _ in placed]}


def as_geojson(boundary: Mapping[str, Any]) -> bytes:
    """The boundary as a file, a feature a line."""
    lines = ",\n".join(json.dumps(one, ensure_ascii=False) for one in boundary["features"])
    return ('{"type": "FeatureCollection", "features": [\n' + lines + "\n]}\n").encode()


def _feature(properties: Mapping[str, Any], polygons: list, attribute: str) -> dict[str, Any]:
    wanted = {k.casefold(): v for k, v in properties.items()}
    value = wanted.get(attribute.casefold())
    sample = "" if value is None else str(value).strip()
    kept = {PROPERTY: sample} if sample else {}
    if wanted.get("name"):
        kept["name"] = str(wanted["name"])
    geometry = ({"type": "Polygon", "coordinates": polygons[0]} if len(polygons) == 1 else
                {"type": "MultiPolygon", "coordinates": polygons})
    return {"type": "Feature", "properties": kept, "geometry": geometry}


def _fault(path: Path, found: str, wanted: str, line: int = 1, column: int = 1,
           code: str = "CASE049") -> CaseProblems:
    problem: Problem = problem_at(str(path), [], Mark(line, column),
                                  Fault(code, ("boundary",), found, wanted), "boundary")
    return CaseProblems((problem,))


# -- KML -----------------------------------------------------------------------------------------


class _Placemarks:
    """Collects the polygons of placemarks while the file goes by."""

    def __init__(self, path: Path, where: Callable[[], tuple[int, int]]):
        self.path, self.where = path, where
        self.stack: list[str] = []
        self.text: list[str] = []
        self.placed: list[Placed] = []
        self.properties: dict[str, Any] = {}
        self.polygons: list[list[list[list[float]]]] = []
        self.rings: list[list[list[float]]] = []
        self.key = ""
        self.began = Mark(1, 1)

    def refuse(self, *_: object) -> None:
        raise _fault(self.path, "a document type", "KML without one", *self.where())

    def start(self, name: str, attributes: Mapping[str, str]) -> None:
        name = name.rpartition(":")[2]
        self.stack.append(name)
        if len(self.stack) > DEEPEST:
            raise _fault(self.path, f"more than {DEEPEST} levels", "fewer", *self.where())
        if name in ("Data", "SimpleData"):
            self.key = attributes.get("name", "")
        elif name == "Placemark":
            self.properties, self.polygons, self.began = {}, [], Mark(*self.where())
        elif name == "Polygon":
            self.rings = []
        self.text = []

    def end(self, name: str) -> None:
        name = name.rpartition(":")[2]
        text = "".join(self.text).strip()
        self.text = []
        above = self.stack[-2] if len(self.stack) > 1 else ""
        if name == "name" and above == "Placemark":
            self.properties["name"] = text
        elif self.key and (name == "SimpleData" or (name == "value" and above == "Data")):
            self.properties[self.key], self.key = text, ""
        elif name == "coordinates" and "Polygon" in self.stack:
            self.rings.append(self._ring(text))
        elif name == "Polygon" and self.rings:
            self.polygons.append(self.rings)
        elif name == "Placemark" and self.polygons:
            self.placed.append((self.properties, self.polygons, self.began))
        self.stack.pop()

    def _ring(self, text: str) -> list[list[float]]:
        ring = []
        for position in text.split():
            try:
                longitude, latitude = map(float, position.split(",")[:2])
            except ValueError:
                raise _fault(self.path, f"the position {position[:40]!r}",
                             "longitude,latitude in degrees", *self.where()) from None
            if not (abs(longitude) <= 180 and abs(latitude) <= 90):
                raise _fault(self.path, f"the position {position[:40]!r}",
                             "longitude from -180 to 180, then latitude from -90 to 90",
                             *self.where())
            ring.append([longitude, latitude])
        return ring


def _kml(raw: bytes, path: Path) -> list[Placed]:
    parser = expat.ParserCreate()
    seen = _Placemarks(path, lambda: (parser.CurrentLineNumber, parser.CurrentColumnNumber + 1))
    parser.StartDoctypeDeclHandler = seen.refuse
    parser.EntityDeclHandler = seen.refuse
    parser.StartElementHandler = seen.start
    parser.EndElementHandler = seen.end
    parser.CharacterDataHandler = lambda text: seen.text.append(text)
    try:
        parser.Parse(raw, True)
    except expat.ExpatError as error:
        raise _fault(path, f"no XML ({expat.ErrorString(error.code)})", "a KML file",
                     error.lineno, error.offset + 1) from None
    return seen.placed


# -- shapefile -----------------------------------------------------------------------------------


def _unpacked(raw: bytes, path: Path) -> dict[str, bytes]:
    """The files of the one shapefile in a packed file."""
    try:
        with zipfile.ZipFile(BytesIO(raw)) as packed:
            entries = packed.infolist()
            if len(entries) > MOST_MEMBERS:
                raise _fault(path, f"{len(entries)} files", f"at most {MOST_MEMBERS}")
            shapes = [e.filename for e in entries if e.filename.lower().endswith(".shp")]
            if len(shapes) != 1:
                raise _fault(path, f"{len(shapes)} shapefiles", "one")
            stem, found = shapes[0][:-4], {}
            for entry in entries:
                ending = entry.filename.rpartition(".")[2].lower()
                if entry.filename[:-4] == stem and ending in SIDE_FILES:
                    if entry.file_size > LARGEST:
                        raise _fault(path, f"{entry.filename} of {entry.file_size} bytes",
                                     f"at most {LARGEST}")
                    with packed.open(entry) as stream:
                        found[ending] = stream.read(LARGEST + 1)
                    if len(found[ending]) > LARGEST:
                        raise _fault(path, f"{entry.filename} larger than it says",
                                     f"at most {LARGEST} bytes")
            return found
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise _fault(path, f"no packed file ({error})", "a ZIP file with a shapefile") from None


def _shapefile(files: Mapping[str, bytes], path: Path) -> list[Placed]:
    lacking = [f".{ending}" for ending in ("shp", "dbf", "prj") if ending not in files]
    if lacking:
        raise _fault(path, f"no {' and no '.join(lacking)}",
                     "the .shp, .dbf and .prj of a shapefile", code="CASE049")
    system = files["prj"].decode("utf-8", "replace")
    if not re.match(r"\s*GEOG(?:CS|CRS)\b", system) or not re.search(r"WGS[ _]?(?:19)?84", system):
        name = re.search(r'"([^"]{1,60})"', system)
        raise _fault(path, f"the coordinate system {name[1] if name else system[:40]!r}",
                     "longitude and latitude of WGS 84; export it so")
    encoding = files.get("cpg", b"utf-8").decode("ascii", "replace").strip() or "utf-8"
    try:
        parts = {k: BytesIO(v) for k, v in files.items() if k in ("shp", "dbf")}
        with shapefile.Reader(**parts, encoding=encoding, encodingErrors="replace") as reader:
            if reader.shapeType not in POLYGONS:
                raise _fault(path, f"shapes of the kind {reader.shapeTypeName}", "polygons")
            if len(reader) > MOST_ZONES:
                raise _fault(path, f"{len(reader)} areas", f"at most {MOST_ZONES}")
            return [(one.record.as_dict(), _rings(one.shape.__geo_interface__, path),
                     Mark(1, 1))
                    for one in reader.iterShapeRecords() if one.shape.points]
    except CaseProblems:
        raise
    except Exception as error:  # what a parser raises on a hostile file is beyond listing
        raise _fault(path, f"no readable shapefile ({type(error).__name__})",
                     "a shapefile") from None


def _rings(geometry: Mapping[str, Any], path: Path) -> list[list[list[list[float]]]]:
    """Polygons of a shape, heights left out."""
    many = geometry["coordinates"]
    many = [many] if geometry["type"] == "Polygon" else many
    found = [[[[float(p[0]), float(p[1])] for p in ring] for ring in rings] for rings in many]
    for rings in found:
        for ring in rings:
            for longitude, latitude in ring:
                if not (math.isfinite(longitude) and abs(longitude) <= 180 and abs(latitude) <= 90):
                    raise _fault(path, f"the position {longitude:g} {latitude:g}",
                                 "longitude and latitude in degrees")
    return found
