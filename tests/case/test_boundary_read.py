"""Boundaries from KML and shapefiles, and rate maps read back with the same reader."""

from __future__ import annotations

import datetime as dt
import errno
import io
import json
import os
import shutil
import zipfile
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import pairwise
from pathlib import Path

import pytest
import shapefile
from click.testing import CliRunner
from sample_reports import short_text

from loambrief import pipeline
from loambrief.archive.verify_pdf import inspect
from loambrief.case.boundary import boundary_faults, shapes
from loambrief.case.boundary_read import as_geojson, boundary_from
from loambrief.case.load import load_case
from loambrief.cli import main
from loambrief.errors import CaseProblems
from loambrief.record.freeze import read_inputs
from loambrief.record.verify import render_again
from loambrief.report.rate_map import WGS84

FIELD = Path(__file__).parents[2] / "sample_inputs" / "three_fields_indiana" / "creek_bottom.yaml"
RING = "-86.70,40.150,0 -86.69,40.150,0 -86.69,40.151,0 -86.70,40.151,0 -86.70,40.150,0"
NOW = dt.datetime(2026, 11, 2, tzinfo=dt.UTC)
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
    assert [f["geometry"]["type"] for f in made["features"]] == ["Polygon"]
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
    sample = tmp_path / "case.yaml"
    sample.write_text(short_text(zones=2), encoding="utf-8")
    files, undrawn = pipeline.rate_map_files(pipeline.advise(load_case(sample)))
    assert files == {} and len(undrawn) >= 2
    done = CliRunner().invoke(main, ["advise", str(sample), "--rate-map", "-o", str(tmp_path)])
    assert done.exit_code == 0 and "not in the rate map" in done.stderr


# Named in a case -------------------------------------------------------------------------------


def field_case(folder, name, attribute="", text=None):
    """The field with its boundary in a file of another program, drawn from its own GeoJSON."""
    home = folder / "case"
    shutil.copytree(FIELD.parent, home)
    boundary = json.loads((FIELD.parent / "creek_bottom.geojson").read_bytes())
    if name.endswith(".kml"):
        marks = "".join(
            "<Placemark>\n" + "".join(f"<ExtendedData><Data name='{attribute or 'sample'}'>"
                                      f"<value>{one['properties']['sample']}</value></Data>"
                                      "</ExtendedData>" for _ in [0]
                                      if "sample" in one["properties"])
            + "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
            + " ".join(f"{x},{y}" for x, y in one["geometry"]["coordinates"][0])
            + "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>\n"
            for one in boundary["features"])
        (home / name).write_text(f"<kml><Document>\n{marks}</Document></kml>")
    else:
        with shapefile.Writer(str(home / name[:-4]), shapeType=shapefile.POLYGON) as writer:
            writer.field(attribute or "sample", "C", 20)
            for one in boundary["features"]:
                ring = one["geometry"]["coordinates"][0]
                turn = sum((b[0] - a[0]) * (b[1] + a[1]) for a, b in pairwise(ring))
                writer.poly([ring if turn > 0 else ring[::-1]])
                writer.record(one["properties"].get("sample", ""))
        (home / name).with_suffix(".prj").write_text(WGS84)
    case = home / "creek_bottom.yaml"
    more = f", attribute: {attribute}" if attribute else ""
    case.write_text(case.read_text().replace("{file: creek_bottom.geojson}",
                                             text or f"{{file: {name}{more}}}"))
    return case


@pytest.mark.parametrize("name, attribute, files", [
    ("a.kml", "", ["a.kml"]), ("a.kml", "ZONE", ["a.kml"]),
    ("a.shp", "ZONE", ["a.shp", "a.shx", "a.dbf", "a.prj"]),
])
def test_a_case_names_the_file_of_another_program(tmp_path, name, attribute, files):
    """ensures that a case with KML or a shapefile is the case with the GeoJSON made from it.

    Each file that it consists of counts for the digest, goes with the record and with the pages,
    and the case that lies in the finished file loads again from them.
    """
    path = field_case(tmp_path, name, attribute)
    loaded, wanted = load_case(path), load_case(FIELD)
    drawn, plain = (shapes(one.case.boundary) for one in (loaded, wanted))
    assert [(s.sample, s.area_ac) for s in drawn] == [
        (s.sample, pytest.approx(s.area_ac, rel=1e-9)) for s in plain]
    assert [w.code for w in loaded.warnings] == [w.code for w in wanted.warnings]
    named = [f for f in loaded.files if f.name.startswith("a.")]
    assert [f.name for f in named] == files
    inputs = read_inputs(path)
    assert {f.name: f.content for f in inputs.files if f.name.startswith("a.")} == {
        f: (path.parent / f).read_bytes() for f in files}
    made = pipeline.render(pipeline.advise(loaded))
    assert render_again(inspect(made.pdf, now=NOW)) == (made.pdf, made.data)
    side = path.parent / files[-1]
    side.write_bytes(side.read_bytes() + b" ")
    assert load_case(path).sha256 != loaded.sha256


@pytest.mark.parametrize("name, spoil, said", [
    ("a.kml", lambda f: f.write_text(f.read_text().replace("<value>W", "<value>Q")),
     "a.kml:4:1: CASE049 boundary.features[2].properties.sample: found the sample 'Q'"),
    ("a.kml", lambda f: f.write_text(f.read_text().replace("-86.7,40.152567 ", "-86.7;40 ", 1)),
     "a.kml:3:"),
    ("a.kml", lambda f: f.unlink(), "creek_bottom.yaml:21:"),
    ("a.shp", lambda f: f.with_suffix(".prj").unlink(),
     "a.shp:1:1: CASE049 boundary: found no .prj"),
    ("a.shp", lambda f: (f.with_suffix(".dbf").unlink(),
                         f.with_suffix(".dbf").symlink_to("/etc/hosts")), "creek_bottom.yaml:21:"),
])
def test_faults_of_a_named_file_are_placed(tmp_path, name, spoil, said):
    """ensures that a problem is at the area's own line, and no file from elsewhere is read."""
    path = field_case(tmp_path, name)
    spoil(path.with_name(name))
    with pytest.raises(CaseProblems) as error:
        load_case(path)
    assert said in str(error.value)


def test_only_such_a_file_has_an_attribute(tmp_path):
    """ensures that a key that would do nothing is a problem."""
    for text in ("{file: creek_bottom.geojson, attribute: ZONE}", "{file: a.kml, attribute: [1]}"):
        path = field_case(tmp_path / text[7], "a.kml", text=text)
        with pytest.raises(CaseProblems, match=r"creek_bottom\.yaml:21:.*attribute"):
            load_case(path)


# Faults of the disk ----------------------------------------------------------------------------


def no_space(*_, **__):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def killed(*_, **__):
    raise KeyboardInterrupt  # what runs before the process dies must not count on more


@pytest.mark.parametrize("fault", [no_space, killed])
@pytest.mark.parametrize("step", ["open", "fsync", "replace"])
def test_files_are_written_whole_or_not_at_all(tmp_path, monkeypatch, fault, step):
    """ensures that a full disk or an end at any step leaves no part of a file, and old ones whole.

    Invoice lines, rate maps and boundaries go the same way; what stood there stands.
    """
    settings = tmp_path / "s.toml"
    settings.write_text("[fees]\ncurrency = \"USD\"\nsoil = 40\n")
    for command, names in (
        (["invoice", str(FIELD), "--settings", str(settings), "-o"], ["lines.csv"]),
        (["advise", str(FIELD), "--rate-map", "-o"], None),
        (["boundary", str(kml(tmp_path)), "-o"], ["b.geojson"]),
    ):
        out = tmp_path / "out"
        out.mkdir()
        target = out / names[0] if names else out
        (out / "old").write_text("old")
        before = {p.name: p.read_bytes() for p in out.iterdir()}
        with monkeypatch.context() as patch:
            for at in ("replace", "link") if step == "replace" else (step,):
                patch.setattr(os, at, partial(_at_new_files, getattr(os, at), out, fault))
            done = CliRunner().invoke(main, [*command, str(target)])
        assert done.exit_code == (2 if fault is no_space else 130), (command, done.output)
        assert {p.name: p.read_bytes() for p in out.iterdir()} == before
        again = CliRunner().invoke(main, [*command, str(target)])
        assert again.exit_code == 0, again.output
        assert not [p for p in out.iterdir() if p.name.startswith(".")]
        shutil.rmtree(out)


def _at_new_files(real, folder, fault, first, *rest, **more):
    """Only what is written into the folder meets the fault."""
    try:
        place = os.readlink(f"/proc/self/fd/{first}") if isinstance(first, int) else str(first)
    except OSError:
        place = ""
    if place.startswith(f"{folder}{os.sep}."):
        fault()
    return real(first, *rest, **more)


def test_two_runs_at_once_leave_one_whole_file(tmp_path):
    """ensures that runs side by side never mix: each file is one run's, whole."""
    runs = [{"a": bytes([n]) * 200_000, "b": bytes([n]) * 10} for n in range(4)]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda files: [pipeline.write_files(files, tmp_path) for _ in range(5)],
                      runs))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b"]
    assert (tmp_path / "a").read_bytes() in [files["a"] for files in runs]


@pytest.mark.parametrize("links", [True, False])
def test_two_runs_on_one_new_name_never_replace_each_other(tmp_path, monkeypatch, links):
    """ensures that of runs at once on a name that must be new one writes, the others refuse,
    on file systems without links too."""
    def none(*_):
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    if not links:
        monkeypatch.setattr(os, "link", none)

    def one(n):
        try:
            return bool(pipeline.write_files({"a": bytes([n]) * 99}, tmp_path, new=True)) and n
        except FileExistsError:
            return None

    with ThreadPoolExecutor(8) as pool:
        (won,) = [n for n in pool.map(one, range(1, 9)) if n is not None]
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_bytes() == bytes([won]) * 99


@pytest.mark.parametrize("command, module", [("boundary", "boundary"), ("invoice", "invoice")])
def test_a_file_of_a_quicker_run_stands(tmp_path, monkeypatch, command, module):
    """ensures that a file that appears after the first look is neither replaced nor passed over."""
    out = tmp_path / ("x.geojson" if command == "boundary" else "x.csv")
    source = kml(tmp_path) if command == "boundary" else FIELD
    monkeypatch.setattr(f"loambrief.cli.{module}.must_be_new",
                        lambda path: path.write_text("theirs"))
    done = CliRunner().invoke(main, [command, str(source), "-o", str(out)])
    assert done.exit_code == 2 and "exists" in done.output and out.read_text() == "theirs"
