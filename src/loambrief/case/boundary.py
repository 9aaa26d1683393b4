"""Boundaries of a field and its zones, from GeoJSON (RFC 7946).

A case names the file (``boundary: {file: east40.geojson}``). A polygon with a property
``sample`` is the zone of that sample; one without is the boundary of the field. Members that
are not needed here are left alone, as the standard asks.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from geographiclib.geodesic import Geodesic  # type: ignore[import-untyped]

from loambrief.case.problems import DataPath, Fault
from loambrief.units import M2_PER_ACRE

MOST_CORNERS = 5_000
MOST_ZONES = 60
KINDS = ("FeatureCollection", "Feature", "Polygon", "MultiPolygon")

Position = tuple[float, float]
"""Longitude and latitude [degrees]."""
Ring = tuple[Position, ...]


def ring_area_m2(ring: Sequence[Position]) -> float:
    """Area inside a closed ring whose sides are geodesics.

    Parameters
    ----------
    ring : sequence of (longitude, latitude)
        [degrees]; first and last position are the same. Not over a pole.

    Returns
    -------
    float
        Area [m²], positive whatever the direction of the ring; 0 for a line.

    Notes
    -----
    RFC 7946 (section 3.1.1) has sides straight in longitude and latitude. A side of the length
    L along a parallel encloses with its geodesic L³ tan(latitude) / 12 R, other sides less: at
    latitude 45, 13 m² for a side of 1 km and 0.01 m² for one of 100 m. The geodesic itself is
    Karney's (2013, J. Geodesy 87:43-55), exact to about 0.1 m² on a whole continent.
    """
    polygon = Geodesic.WGS84.Polygon()
    for longitude, latitude in ring[:-1]:
        polygon.AddPoint(latitude, longitude)
    _, _, area = polygon.Compute(sign=True)
    return abs(area)


def plane_m(position: Position, origin: Position) -> tuple[float, float]:
    """East and north of an origin, for drawing: distance and bearing from there are kept.

    Parameters
    ----------
    position, origin : (longitude, latitude)
        [degrees].

    Returns
    -------
    (float, float)
        East and north [m].
    """
    line = Geodesic.WGS84.Inverse(origin[1], origin[0], position[1], position[0])
    bearing = math.radians(line["azi1"])
    return line["s12"] * math.sin(bearing), line["s12"] * math.cos(bearing)


@dataclass(frozen=True)
class Shape:
    """One polygon feature."""

    sample: str | None
    """Id of the sample whose zone it is; None for the field."""
    polygons: tuple[tuple[Ring, ...], ...]
    """Tuple of (outer ring, hole, ...): [degrees], rings closed."""
    path: DataPath = ()
    """Where it stands in the case, for problems."""

    @cached_property
    def area_ac(self) -> float:
        """Area [ac], without holes."""
        return sum(ring_area_m2(rings[0]) - sum(map(ring_area_m2, rings[1:]))
                   for rings in self.polygons) / M2_PER_ACRE


def shapes(boundary: object) -> tuple[Shape, ...]:
    """Shapes of a boundary without faults, in file order."""
    return tuple(Shape(_sample(feature), _polygons(geometry), path)
                 for path, feature, geometry in _features(boundary, ("boundary",)))


def boundary_faults(boundary: object, sample_ids: Sequence[str]) -> Iterator[Fault]:
    """Everything that is wrong with a boundary, GeoJSON as plain data.

    ``sample_ids`` are the ids that zones may name.
    """
    root: DataPath = ("boundary",)
    if not isinstance(boundary, Mapping) or boundary.get("type") not in KINDS:
        kind = boundary.get("type") if isinstance(boundary, Mapping) else boundary
        yield Fault("CASE049", (*root, "type") if isinstance(boundary, Mapping) else root,
                    f"type {kind!r}", f"GeoJSON of the type {' or '.join(KINDS)}")
        return
    if "crs" in boundary:
        yield Fault("CASE049", (*root, "crs"), "a coordinate system of its own",
                    "longitude and latitude of WGS 84",
                    "Current GeoJSON has no other (RFC 7946, section 4); export it again.")
    features = list(_features(boundary, root))
    if not features:
        yield Fault("CASE034", root, "no polygon", "at least one polygon")
    if len(features) > MOST_ZONES:
        yield Fault("CASE034", root, f"{len(features)} polygons", f"at most {MOST_ZONES}")
        return
    corners = 0
    fields = 0
    seen: dict[str, int] = {}
    known = {name.lower(): name for name in sample_ids}
    for number, (path, feature, geometry) in enumerate(features):
        found = list(_geometry_faults(geometry, path))
        yield from found
        if not found:
            corners += sum(len(ring) for rings in _polygons(geometry) for ring in rings)
        name = _sample(feature)
        place = (*path, "properties", "sample")
        if name is None:
            fields += 1
            if fields == 2:
                yield Fault("CASE042", path, "a second polygon without a sample",
                            "one polygon for the field",
                            "A field in several parts is one MultiPolygon.")
        elif name.lower() not in known:
            yield Fault("CASE049", place, f"the sample {name!r}",
                        "the id of a sample of this case"
                        + (f": {', '.join(sample_ids)}" if len(sample_ids) <= 12 else ""))
        elif seen.setdefault(name.lower(), number) != number:
            yield Fault("CASE042", place, f"{name!r} a second time", "one polygon for each sample",
                        "A zone in several parts is one MultiPolygon.")
    if corners > MOST_CORNERS:
        yield Fault("CASE034", root, f"{corners} corners", f"at most {MOST_CORNERS}",
                    "Simplify the shapes before they are exported.")


def _features(boundary: object, root: DataPath) -> Iterator[tuple[DataPath, Mapping, object]]:
    """Path, feature and geometry of every polygon; other geometry is not ours."""
    if not isinstance(boundary, Mapping):
        return
    if boundary.get("type") in ("Polygon", "MultiPolygon"):
        yield root, {}, boundary
        return
    many = boundary.get("features") if boundary.get("type") == "FeatureCollection" else None
    features = [(root, boundary)] if many is None else [
        ((*root, "features", i), f) for i, f in enumerate(many if isinstance(many, list) else [])]
    for path, feature in features:
        geometry = feature.get("geometry") if isinstance(feature, Mapping) else None
        if isinstance(geometry, Mapping) and geometry.get("type") in ("Polygon", "MultiPolygon"):
            yield path, feature, geometry


def _sample(feature: Mapping) -> str | None:
    properties = feature.get("properties")
    found = properties.get("sample") if isinstance(properties, Mapping) else None
    return None if found is None else str(found)


def _rings(geometry: object) -> list[tuple[DataPath, object]]:
    """Every ring with its path below the geometry."""
    assert isinstance(geometry, Mapping)
    coordinates, one = geometry.get("coordinates"), geometry.get("type") == "Polygon"
    many = [coordinates] if one else coordinates
    return [((j,) if one else (i, j), ring)
            for i, polygon in enumerate(many if isinstance(many, list) else [])
            for j, ring in enumerate(polygon if isinstance(polygon, list) else [])]


def _geometry_faults(geometry: object, path: DataPath) -> Iterator[Fault]:
    assert isinstance(geometry, Mapping)
    base = (*path, "geometry", "coordinates") if path[-1:] != ("boundary",) else (
        *path, "coordinates")
    rings = _rings(geometry)
    if not rings:
        yield Fault("CASE049", base, "no rings", "at least one ring of corners")
    for below, ring in rings:
        place = (*base, *below)
        if not isinstance(ring, list) or len(ring) < 4:
            yield Fault("CASE049", place, "fewer than four positions",
                        "a ring of at least three corners, the first repeated at the end")
            continue
        wrong = next((i for i, p in enumerate(ring) if not _is_position(p)), None)
        if wrong is not None:
            yield Fault("CASE049", (*place, wrong), f"{ring[wrong]!r}"[:60],
                        "longitude from -180 to 180, then latitude from -90 to 90, in degrees")
        elif ring[0][:2] != ring[-1][:2]:
            yield Fault("CASE049", (*place, len(ring) - 1), "a ring that is not closed",
                        "the first position repeated at the end")
        elif max(p[0] for p in ring) - min(p[0] for p in ring) > 180:
            yield Fault("CASE049", place, "a shape across the 180th meridian",
                        "a shape cut there in two (RFC 7946, section 3.1.9)")
        elif ring_area_m2([(float(p[0]), float(p[1])) for p in ring]) < 1.0:
            yield Fault("CASE049", place, "a ring without area", "a ring around some ground")


def _is_position(found: object) -> bool:
    return (isinstance(found, list) and 2 <= len(found) <= 4
            and all(isinstance(v, int | float) and not isinstance(v, bool) for v in found)
            and abs(found[0]) <= 180 and abs(found[1]) <= 90)


def _polygons(geometry: object) -> tuple[tuple[Ring, ...], ...]:
    assert isinstance(geometry, Mapping)
    coordinates = geometry["coordinates"]
    many = [coordinates] if geometry["type"] == "Polygon" else coordinates
    return tuple(tuple(tuple((float(p[0]), float(p[1])) for p in ring) for ring in polygon)
                 for polygon in many)


def boundary_warnings(case) -> Iterator[Fault]:
    """Areas of the shapes that do not fit the areas stated in the case.

    Says nothing of a boundary with faults.
    """
    if any(boundary_faults(case.boundary, [s.id for s in case.samples])):
        return
    stated = {s.id.lower(): s.area.value for s in case.samples if s.area is not None}
    drawn = shapes(case.boundary)
    zones = [s for s in drawn if s.sample is not None]
    for shape in drawn:
        acres = case.field.area.value if shape.sample is None else stated.get(shape.sample.lower())
        if acres is not None and abs(shape.area_ac - acres) > TOLERANCE * acres:
            yield Fault("CASE123", shape.path, f"a shape of {shape.area_ac:.4g} ac",
                        f"about the {acres:.4g} ac stated in the case",
                        "Rates and totals use the stated area.")
    if zones and all(s.sample is not None for s in drawn):
        total = sum(s.area_ac for s in zones)
        if total > case.field.area.value * (1 + TOLERANCE):
            yield Fault("CASE123", ("boundary",), f"zones of {total:.4g} ac together",
                        f"at most the field's {case.field.area.value:.4g} ac")


TOLERANCE = 0.05
"""Share by which a drawn area may differ from a stated one without a warning (our choice)."""
