"""Boundaries from KML and shapefiles, and rate maps read back with the same reader."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest
import shapefile
from click.testing import CliRunner

from loambrief import pipeline
from loambrief.case.boundary import boundary_faults, shapes
from loambrief.case.boundary_read import as_geojson, boundary_from
from loambrief.case.load import load_case
from loambrief.cli import main
from loambrief.errors import CaseProblems
from loambrief.report.rate_map import WGS84

FIELD = Path(__file__).parents[2] / "sample_inputs" / "three_fields_indiana" / "creek_bottom.yaml"
RING = "-86.70,40.150,0 -86.69,40.150,0 -86.69,40.151,0 -86.70,40.151,0 -86.70,40.150,0"
HOLE = "-86.698,40.1504 -86.698,40.1506 -86.696,40.1506 -86.696,40.1504 -86.698,40.1504"
KML = f"""<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>
<Placemark><name>A well</name><Point><coordinates>-86.7,40.15</coordinates></Point></Placemark>
<Placemark><name>West</name><ExtendedData><Data name="Sample"><value>W</value></Data></ExtendedData>
<Polygon><outerBoundaryIs><LinearRing><coordinates>{RING}</coordinates></LinearRing>
</outerBoundaryIs><innerBoundaryIs><LinearRing><coordinates>{HOLE}</coordinates></LinearRing>
</innerBoundaryIs></Polygon></Placemark></Folder></Document></kml>"""


def kml(folder, text=KML):
    path = folder / "a.kml"
    path.write_text(text, encoding="utf-8")
    return path


def shape(folder, prj=WGS84, kind=shapefile.POLYGON, rings=None, packed=False, **fields):
    """A shapefile with one area; the ring is clockwise, as the format wants outer ones."""
    parts = {ending: io.BytesIO() for ending in ("shp", "shx", "dbf")}
    with shapefile.Writer(**parts, shapeType=kind) as writer:
        for name in fields or {"ID": ""}:
            writer.field(name, "C", 20)
        if kind == shapefile.POLYGON:
            writer.poly(rings or [[[-86.7, 40.15], [-86.7, 40.151], [-86.69, 40.151],
                                   [-86.69, 40.15], [-86.7, 40.15]]])
        else:
            writer.point(-86.7, 40.15)
        writer.record(**(fields or {"ID": "x"}))
    files = {f"a.{ending}": part.getvalue() for ending, part in parts.items()}
    if prj:
        files["a.prj"] = prj.encode()
    if packed:
        with zipfile.ZipFile(folder / "a.zip", "w") as target:
            for name, content in files.items():
                target.writestr(name, content)
        return folder / "a.zip"
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder / "a.shp"


def test_kml_becomes_zones(tmp_path):
    """ensures that polygons, holes and the sample's id of a KML file come over, points stay out.

    OGC 07-147r2 (KML 2.2): coordinates are longitude, latitude and an optional height.
    """
    made = boundary_from(kml(tmp_path))
    assert list(boundary_faults(made, ["W"])) == []
    (zone,) = shapes(json.loads(as_geojson(made)))
    assert zone.sample == "W" and len(zone.polygons[0]) == 2
    assert made["features"][0]["properties"] == {"sample": "W", "name": "West"}
    # 850.6 m x 111.0 m on the ellipsoid, less the hole of 170 m x 22 m (worked by hand to 1 %)
    assert zone.area_ac == pytest.approx((850.6 * 111.0 - 170.1 * 22.2) / 4046.86, rel=0.01)


@pytest.mark.parametrize("packed", [False, True])
def test_a_shapefile_becomes_zones(tmp_path, packed):
    """ensures that a shapefile, in its parts or packed, gives its areas with their samples."""
    made = boundary_from(shape(tmp_path, packed=packed, ZONE_ID="W"), "zone_id")
    (zone,) = shapes(made)
    assert zone.sample == "W" and zone.area_ac == pytest.approx(23.33, rel=0.01)


@pytest.mark.parametrize("change, said", [
    (lambda f: kml(f, KML.replace("<kml", "<!DOCTYPE kml [<!ENTITY a 'b'>]>\n<kml")),
     "a document type"),
    (lambda f: kml(f, KML[:-9]), "no XML"),
    (lambda f: kml(f, KML.replace("-86.69,40.151,0", "-86.69;40.151")), "'-86.69;40.151'"),
    (lambda f: kml(f, KML.replace("-86.69,40.151,0", "40.1,-186.6")), "latitude from -90"),
    (lambda f: kml(f, "<a>" * 60 + "</a>" * 60), "more than 40 levels"),
    (lambda f: kml(f, KML.replace("Polygon", "Polylgon")), "no polygon"),
    (lambda f: shape(f, prj=""), "no .prj"),
    (lambda f: shape(f, prj='PROJCS["NAD83 / Indiana East"]'), "NAD83 / Indiana East"),
    (lambda f: shape(f, kind=shapefile.POINT), "POINT"),
    (lambda f: shape(f, rings=[[[500000, 4e6], [500000, 4.1e6], [5.1e5, 4.1e6], [500000, 4e6]]]),
     "the position 500000"),
    (lambda f: (shape(f, packed=True).write_bytes(b"PK rubbish"), f / "a.zip")[1], "no packed"),
    (lambda f: (shape(f), (f / "a.shp").write_bytes(b"\0" * 60), f / "a.shp")[2],
     "no readable shapefile"),
])
def test_what_is_no_boundary_is_told(tmp_path, change, said):
    """ensures that hostile, broken and differently measured files are refused with the reason."""
    with pytest.raises(CaseProblems) as error:
        boundary_from(change(tmp_path))
    assert said in str(error.value) and str(tmp_path) in str(error.value)


def test_a_zip_bomb_is_not_unpacked(tmp_path):
    """ensures that a packed file that grows beyond all measure is refused by its stated size."""
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as target:
        target.writestr("a.shp", b"\0" * (9 * 1024 * 1024))
    with pytest.raises(CaseProblems, match="at most"):
        boundary_from(tmp_path / "a.zip")


def test_the_command_writes_what_a_case_names(tmp_path):
    """ensures that the file is new, checked, and told with its areas."""
    out = tmp_path / "w.geojson"
    done = CliRunner().invoke(main, ["boundary", str(kml(tmp_path)), "-o", str(out)])
    assert done.exit_code == 0 and "sample W: 22." in done.output and out.is_file()
    again = CliRunner().invoke(main, ["boundary", str(kml(tmp_path)), "-o", str(out)])
    assert again.exit_code == 2 and "exists" in again.output
    bad = CliRunner().invoke(main, ["boundary", str(kml(tmp_path, KML.replace(
        "-86.70,40.150,0</", "-86.71,40.150,0</"))), "-o", str(tmp_path / "x.geojson")])
    assert bad.exit_code == 1 and "not closed" in bad.output


def test_a_rate_map_says_what_the_sheet_says(tmp_path):
    """ensures that zones, rates, units and totals of both forms are those of the plan.

    The shapefile is read back as a boundary: outer rings are outer, areas are the same.
    """
    advice = pipeline.advise(load_case(FIELD))
    files, undrawn = pipeline.rate_map_files(advice)
    assert (files, undrawn) == pipeline.rate_map_files(advice) and undrawn == ()
    features = json.loads(files["ravenel-creek-bottom-rates.geojson"])["features"]
    jobs = [a for a in advice.plan.actions if a.rate is not None and a.pass_number == 1
            and a.id in advice.plan.budget.chosen]
    assert [(f["properties"]["action"], f["properties"]["rate"], f["properties"]["rate_unit"],
             f["properties"]["zone"]) for f in features] == [
        (a.id, a.rate, a.rate_unit, a.place.id) for a in jobs]
    assert {f["properties"]["status"] for f in features} == {"draft"}
    drawn = {s.sample: s.area_ac for s in shapes(advice.loaded.case.boundary)}
    with zipfile.ZipFile(io.BytesIO(files["ravenel-creek-bottom-rates.zip"])) as packed:
        names = {name.rpartition(".")[0] for name in packed.namelist()}
        assert names == {a.material_id.lower() for a in jobs}
        for name in names:
            folder = tmp_path / name
            packed.extractall(folder, [n for n in packed.namelist() if n.startswith(f"{name}.")])
            made = boundary_from(folder / f"{name}.shp", "ZONE")
            for zone in shapes(made):
                assert zone.area_ac == pytest.approx(drawn[zone.sample], rel=1e-6)
            with shapefile.Reader(str(folder / name)) as reader:
                row = reader.record(0).as_dict()
            assert (row["RATE"], row["RATE_UNIT"]) in [(a.rate, a.rate_unit) for a in jobs]


def test_a_zone_without_a_shape_is_told(tmp_path):
    """ensures that a rate map never leaves out a job silently."""
    sample = FIELD.parents[1] / "acid_corn_ohio" / "case.yaml"
    files, undrawn = pipeline.rate_map_files(pipeline.advise(load_case(sample)))
    assert files == {} and len(undrawn) >= 2
    done = CliRunner().invoke(main, ["advise", str(sample), "--rate-map", "-o", str(tmp_path)])
    assert done.exit_code == 0 and "not in the rate map" in done.stderr
