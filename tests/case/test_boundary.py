"""Boundaries: areas on the ellipsoid, and every fault of a GeoJSON file at its place."""

import json
import math
from itertools import pairwise

import pytest
from case_builders import minimal, sample
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod, Proj

from loambrief.case.boundary import plane_m, ring_area_m2, shapes
from loambrief.case.load import load_case
from loambrief.errors import CaseProblems
from loambrief.units import M2_PER_ACRE

WGS84 = Geod(ellps="WGS84")


def box(lon, lat, width, height):
    """A ring of corners, counted in degrees."""
    return [[lon, lat], [lon + width, lat], [lon + width, lat + height], [lon, lat + height],
            [lon, lat]]


def collection(*features):
    return {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {} if name is None else {"sample": name},
         "geometry": {"type": "Polygon", "coordinates": rings}} for name, rings in features]}


FIELDS = st.tuples(
    st.floats(-75, 75), st.floats(-170, 170), st.floats(0.0001, 0.01),
    st.lists(st.tuples(st.floats(0.2, 1.0), st.floats(0, 2 * math.pi)), min_size=3, max_size=12,
             unique_by=lambda c: round(c[1], 2)))
"""Latitude, longitude and size [degrees] of shapes from a garden to a big field."""


def ring_of(field):
    """A closed ring around a point, without crossings."""
    lat, lon, size, corners = field
    ring = [(lon + r * size * math.cos(a), lat + r * size * math.sin(a))
            for r, a in sorted(corners, key=lambda c: c[1])]
    return [*ring, ring[0]]


def proj_area(ring):
    return abs(WGS84.polygon_area_perimeter(*zip(*ring, strict=True))[0])


@given(FIELDS)
def test_area_is_that_of_the_geodesic_polygon(field):
    """ensures the area between geodesics, as PROJ has it.

    Reference library: pyproj Geod.polygon_area_perimeter (Karney 2013, in C). Both lose digits
    where the triangles that make up the ellipsoid under the sides cancel: 0.01 m2 allowed.
    """
    ring = ring_of(field)
    assert ring_area_m2(ring) == pytest.approx(proj_area(ring), rel=1e-9, abs=0.01)


@given(FIELDS)
def test_area_is_near_that_of_straight_sides(field):
    """ensures that what parts us from RFC 7946 (sides straight in degrees) is what we say.

    Bound: L^3 tan(latitude) / 12 R for each side, from the sagitta of a parallel over its
    geodesic, L^2 tan(latitude) / 8 R, times two thirds of L.
    """
    ring = ring_of(field)
    pieces = [(x0 + (x1 - x0) * i / 40, y0 + (y1 - y0) * i / 40)
              for (x0, y0), (x1, y1) in pairwise(ring) for i in range(40)]
    most = sum(WGS84.inv(*a, *b)[2]**3 * math.tan(math.radians(max(abs(a[1]), abs(b[1]))))
               for a, b in pairwise(ring)) / (12 * 6_356_752)
    assert ring_area_m2(ring) == pytest.approx(proj_area([*pieces, ring[0]]), rel=0,
                                               abs=1.02 * most + 0.02)


@pytest.mark.parametrize("turned", [1, -1])
def test_area_of_the_whole_ellipsoid(turned):
    """ensures the total area of the WGS 84 ellipsoid, 510 065 621.7 km² (NIMA TR8350.2)."""
    eighth = ring_area_m2([(0, 0), (90, 0), (0, 90), (0, 0)][::turned])
    assert 8 * eighth / 1e6 == pytest.approx(510_065_621.7, abs=0.1)


def test_line_has_no_area():
    """ensures that a ring that goes there and back encloses nothing."""
    assert ring_area_m2([(10, 50), (10.01, 50.02), (10, 50)]) == pytest.approx(0, abs=0.01)


@settings(max_examples=10)
@given(FIELDS)
def test_plane_keeps_lengths(field):
    """ensures that drawn lengths and directions are true: against PROJ's equidistant plane."""
    here, *others = ring_of(field)
    project = Proj(proj="aeqd", lon_0=here[0], lat_0=here[1])
    for there in others:
        assert plane_m(there, here) == pytest.approx(project(*there), rel=1e-6, abs=0.001)
        assert math.hypot(*plane_m(there, here)) == pytest.approx(
            WGS84.inv(*here, *there)[2], rel=1e-9, abs=1e-6)


def write(tmp_path, boundary, name="field.geojson", **parts):
    case = minimal(boundary={"file": name}, **parts)
    (tmp_path / name).write_text(boundary if isinstance(boundary, str)
                                 else json.dumps(boundary, indent=1), encoding="utf-8")
    path = tmp_path / "case.yaml"
    path.write_text(json.dumps(case, indent=1), encoding="utf-8")
    return path


def problems(path):
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    return [p for p in caught.value.problems if p.severity != "warning"]


SQUARE = box(-84.1, 40.2, 0.004, 0.002)


def test_field_with_zones_and_a_hole(tmp_path):
    """ensures that a boundary is read, holes taken off, and bound into the record's digest."""
    hole = box(-84.0995, 40.2005, 0.001, 0.0005)
    boundary = collection((None, [SQUARE, hole]), ("B1", [box(-84.1, 40.2, 0.002, 0.002)]))
    loaded = load_case(write(tmp_path, boundary, samples=[sample()]))
    field, zone = shapes(loaded.case.boundary)
    outside, inside = (WGS84.polygon_area_perimeter(*zip(*r, strict=True))[0]
                       for r in (SQUARE, hole))
    assert field.area_ac == pytest.approx((abs(outside) - abs(inside)) / M2_PER_ACRE, rel=1e-5)
    assert zone.sample == "B1" and len(loaded.files) == 1
    other = load_case(write(tmp_path, collection((None, [SQUARE])), samples=[sample()]))
    assert other.sha256 != loaded.sha256


def test_tabs_and_foreign_members_are_taken(tmp_path):
    """ensures that what RFC 7946 allows is read: white space, a third number, other members."""
    ring = [[*p, 251.5] for p in SQUARE]
    text = json.dumps({"type": "Feature", "id": 3, "bbox": [0, 0, 1, 1],
                       "properties": {"owner": None},
                       "geometry": {"type": "MultiPolygon", "coordinates": [[ring]]}}, indent="\t")
    assert len(shapes(load_case(write(tmp_path, text)).case.boundary)) == 1


def test_wrong_area_is_warned_of(tmp_path):
    """ensures that a shape of another size than the stated area is named, with both numbers."""
    small = collection((None, [box(-84.1, 40.2, 0.003, 0.002)]))
    warnings = load_case(write(tmp_path, small)).warnings
    (one,) = [w for w in warnings if w.code == "CASE123"]
    assert "18 ac" in one.wanted and one.file.endswith("field.geojson")
    fitting = minimal()["field"] | {"area": "18.65 ac"}
    assert "CASE123" not in [w.code for w in load_case(
        write(tmp_path, collection((None, [SQUARE])), field=fitting)).warnings]


@pytest.mark.parametrize("boundary, code, part", [
    ({"type": "Point", "coordinates": [0, 0]}, "CASE049", "FeatureCollection"),
    ({"type": "FeatureCollection", "features": []}, "CASE034", "at least one polygon"),
    (collection(("Z9", [SQUARE])), "CASE049", "B1"),
    (collection((None, [SQUARE]), (None, [SQUARE])), "CASE042", "one polygon for the field"),
    (collection(("B1", [SQUARE]), ("b1", [SQUARE])), "CASE042", "one polygon for each sample"),
    (collection((None, [SQUARE[:3]])), "CASE049", "at least three corners"),
    (collection((None, [SQUARE[:-1]])), "CASE049", "repeated at the end"),
    (collection((None, [[[-184.1, 40], *SQUARE[1:]]])), "CASE049", "longitude from -180"),
    (collection((None, [[["x", 40], *SQUARE[1:]]])), "CASE049", "longitude from -180"),
    (collection((None, [[SQUARE[0], SQUARE[1], SQUARE[0], SQUARE[0]]])), "CASE049",
     "some ground"),
    (collection((None, [box(-179, 10, 358, 1)])), "CASE049", "cut there in two"),
    (collection((None, [])), "CASE049", "at least one ring"),
    ({**collection((None, [SQUARE])), "crs": {"type": "name"}}, "CASE049", "WGS 84"),
])
def test_faults_of_a_boundary(tmp_path, boundary, code, part):
    """ensures that a fault is reported in the GeoJSON file, with what is wanted (RFC 7946)."""
    (one,) = problems(write(tmp_path, boundary, samples=[sample()]))
    assert one.code == code and part in one.wanted + one.help
    assert one.file.endswith("field.geojson") and one.line >= 1 and one.column >= 1


def test_every_fault_at_once(tmp_path):
    """ensures that two faulty shapes give two problems, each on its own line."""
    boundary = collection((None, [SQUARE[:3]]), ("Z9", [SQUARE]))
    found = problems(write(tmp_path, boundary, samples=[sample()]))
    assert len(found) == 2 and len({p.line for p in found}) == 2


def test_too_many_corners(tmp_path):
    """ensures that a boundary is bounded in size."""
    ring = [[-84 + 0.01 * math.cos(a), 40 + 0.01 * math.sin(a)]
            for a in (i * 2 * math.pi / 5200 for i in range(5200))]
    found = problems(write(tmp_path, collection((None, [[*ring, ring[0]]]))))
    assert found[0].code in ("CASE034", "CASE008")


def test_broken_json_is_located(tmp_path):
    """ensures that text which is not JSON is reported with its line."""
    (one,) = problems(write(tmp_path, '{"type": "Polygon",\n "coordinates": [[[1, 2]}'))
    assert one.file.endswith("field.geojson") and one.line == 2
