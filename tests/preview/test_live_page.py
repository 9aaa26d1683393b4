"""The live page: what it shows and writes, and whom it answers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from loambrief.case.fields import groups
from loambrief.case.load import load_case
from loambrief.case.reader import read_text
from loambrief.preview.app import LivePage, application
from loambrief.preview.form import PRICES, READINGS, sections
from loambrief.preview.live import Live

ROOT = Path(__file__).parents[2]
HOST, TOKEN = "127.0.0.1:8123", "a-token-for-trial"
CASE = """loambrief: 1
case: {id: live-1, date: 2026-10-20}
client: {name: Halloran Bend Farm}
farm: {name: Halloran Bend}
field:
  {name: Creek Bottom, area: 18 ac, crop: soybean, tillage: no-till, irrigation: none,
   drainage: tile drained}
adviser:
  name: Rosalind Achterberg
  credential: {scheme: State board, number: IN-0000, expires: 2027-12-31}
  interest: "None."
samples:
  - id: B1  # by the creek
    date: 2026-10-02
    cores: 4
    lab: {name: Dunmore Soil Laboratory}
    methods: {ph: "water 1:1", phosphorus: mehlich-3-icp}
    increments:
      - depth: 0-6 in
        ph: 6.2
        phosphorus: 12 ppm  # rerun asked for
penetrometer:
  date: 2026-10-02
  cone: small 12.83 mm
  moisture: moist
  depths: [3, 6, 9]
  points:
    - {id: P1, readings: [100, 200, null]}
materials:
  - id: lime
    name: Lime of the quarry
    kind: lime
    analysis: {cce: 94 %}
    price: {amount: 24, per: ton, date: 2026-10-01}
"""
PHOSPHORUS = "samples/0/increments/0/phosphorus"


def client_of(path: Path) -> TestClient:
    app = application(LivePage(Live(path)), frozenset((HOST,)), TOKEN, "ticket")
    return TestClient(app, base_url=f"http://{HOST}")


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    path = tmp_path_factory.mktemp("live") / "case.yaml"
    path.write_text(CASE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def client(case):
    """A browser that has opened the printed address."""
    made = client_of(case)
    assert made.get(f"/?token={TOKEN}").status_code == 200
    return made


def digest(client: TestClient) -> str:
    return re.search(r'name="@case" value="([0-9a-f]{64})"', client.get("/form").text)[1]


def post(client: TestClient, **boxes: str):
    """Send boxes; names have ``__`` in place of ``/``."""
    data = {"@case": digest(client), **{k.replace("__", "/"): v for k, v in boxes.items()}}
    return client.post("/form", data=data, headers={"origin": f"http://{HOST}"},
                       follow_redirects=False)


def test_only_the_token_and_the_own_address_open_it(client):
    """ensures that nobody without the token, under another name or from another page is
    answered, and that the token does not stay in the address."""
    stranger = TestClient(client.app, base_url=f"http://{HOST}")
    for path in ("/", "/advisory", "/form", "/news", "/file/live-1.pdf", "/script.js",
                 "/?token=wrong"):
        assert stranger.get(path).status_code == 403, path
    assert client.get("/", headers={"host": "rebound.example:8123"}).status_code == 421
    assert client.get("/", headers={"host": "127.0.0.1:99"}).status_code == 421
    assert client.get("/", headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert client.post("/form", data={}).status_code == 403
    assert client.post("/form", data={}, headers={"origin": "null"}).status_code == 403
    opened = stranger.get(f"/?token={TOKEN}", follow_redirects=False)
    assert opened.headers["location"] == "/"
    assert {"HttpOnly", "SameSite=strict"} <= set(opened.headers["set-cookie"].split("; "))


def test_nothing_is_loaded_from_elsewhere(client):
    """ensures a policy on every page that lets it load its own parts only, no script within the
    pages, and no address of another host in what is loaded."""
    for path in ("/", "/form", "/advisory", "/problems"):
        answer = client.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "http" not in policy
        assert "unsafe-inline" not in policy or path == "/advisory"
        assert not re.search(r"<script(?! src=\"/script\.js\" defer></script>)", answer.text)
        assert not re.search(r"(?:src|action)=\"(?!/[a-z]|data:)", answer.text)
        assert not re.search(r"<link[^>]*href=\"(?!/)", answer.text)
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_page_shows_the_advisory_and_its_warnings(client, case):
    """ensures that every warning of the case stands beside the advisory, at its place, those of
    the form leading to their box, and that the PDF and the data are those of advise."""
    page, shown = client.get("/").text, client.get("/advisory").text
    assert "Creek Bottom" in shown
    warnings = load_case(case).warnings
    assert warnings
    for warning in warnings:
        assert f"case.yaml:{warning.line}:{warning.column}" in page and warning.code in page
    assert client.get("/file/live-1.pdf").content.startswith(b"%PDF-")
    assert client.get("/file/live-1.json").json()["case_id"] == "live-1"
    assert client.get("/file/..%2Fcase.yaml").status_code == 404


def test_form_has_units_and_choices_of_the_schema():
    """ensures that the form of a sample holds what its readings are, with units and choices, and
    of the materials the prices only; a further entry may be added."""
    source, _ = read_text(CASE, "case.yaml")
    boxes = {box.name: box for s in sections(source) for e in s.entries for box in e.boxes}
    phosphorus = boxes[PHOSPHORUS]
    assert (phosphorus.value, phosphorus.unit) == ("12", "ppm")
    assert phosphorus.leaf.units == ("ppm", "mg/kg", "ug/g", "g/kg", "lb/ac")
    assert "olsen" in boxes["samples/0/methods/phosphorus"].leaf.choices
    assert boxes["penetrometer/points/0/readings"].value == "100; 200; -"
    assert boxes["materials/0/price/amount"].value == "24"
    assert "samples/0/increments/1/depth" in boxes and "samples/1/id" in boxes
    assert {name.split("/")[0] for name in boxes} <= {*READINGS, *PRICES}
    assert {name.split("/")[2] for name in boxes if name.startswith("materials")} == {
        "price", "freight", "spreading"}


def test_every_part_of_a_case_is_on_the_form_or_left_out_on_purpose():
    """ensures that a new part of the case is decided on: a reading or a price, or neither."""
    left_out = {"case", "client", "farm", "field", "adviser", "boundary", "targets", "residue",
                "tenure", "constraints", "strips", "stock", "history", "done",
                "earlier_applications", "overrides", "cover_crop", "nitrogen",
                "nitrogen_inputs", "own_actions", "plan_changes", "notes", "photos", "accept"}
    parts = {group.path[0] for group in groups() if group.path}
    assert parts == left_out | {*READINGS, *PRICES}
    assert not left_out & {*READINGS, *PRICES}


def test_form_writes_what_changed_and_nothing_else(tmp_path):
    """ensures that a reading, a price, a list and a new slice go into the case's text, its
    remarks and other lines staying; and that what does not belong to the form stays out."""
    path = tmp_path / "case.yaml"
    path.write_text(CASE, encoding="utf-8")
    client = client_of(path)
    client.get(f"/?token={TOKEN}")
    done = post(client, **{
        PHOSPHORUS: "14.0", f"{PHOSPHORUS}@unit": "mg/kg", "penetrometer/points/0/readings":
        "110; 200; 250", "materials/0/price/amount": "25.50", "field/area": "1 ac",
        "samples/0/increments/1/depth": "6-12 in", "samples/0/increments/1/ph": "5.9"})
    assert (done.status_code, done.headers["location"]) == (303, "/form")
    told = client.get("/form").text
    assert "Written into case.yaml." in told
    assert "Written into" not in client.get("/form").text
    new = path.read_text(encoding="utf-8")
    case = load_case(path).case
    one, two = case.samples[0].increments
    assert one.phosphorus.typed == "14.0 mg/kg" and two.ph == 5.9
    assert case.penetrometer.points[0].readings == [110, 200, 250]
    assert case.materials[0].price.amount == 25.5 and case.field.area.value == 18
    gone = [line for line in CASE.splitlines() if line not in new.splitlines()]
    assert gone == ["        phosphorus: 12 ppm  # rerun asked for",
                    "    - {id: P1, readings: [100, 200, null]}",
                    "    price: {amount: 24, per: ton, date: 2026-10-01}"]
    assert "# by the creek" in new and re.search("phosphorus: 14.0 mg/kg +# rerun asked for", new)
    assert "14.0" in client.get("/form").text


def test_form_refuses_what_the_case_would_refuse(client, case):
    """ensures that a wrong value is named at its box with what was typed still there, that
    nothing is written, and that a form of an older text is refused."""
    before = case.read_bytes()
    refused = post(client, **{PHOSPHORUS: "12 pppm", "samples__0__increments__0__ph": "5,9",
                              "penetrometer__points__0__readings": "1; 2"})
    assert refused.status_code == 422
    text = refused.text
    assert 'value="12 pppm"' in text and "wanted a unit of ppm" in text
    assert "Decimals take a point: 5.9." in text and "Nothing was written." in text
    assert "P1" in text and case.read_bytes() == before
    old = client.post("/form", data={"@case": "0" * 64, PHOSPHORUS: "13"},
                      headers={"origin": f"http://{HOST}"})
    assert old.status_code == 422 and "changed since" in old.text
    assert post(client, **{PHOSPHORUS: "12"}).status_code == 303
    assert "Nothing was changed." in client.get("/form").text
    assert case.read_bytes() == before


def test_a_faulty_case_is_shown_with_the_last_advisory(case):
    """ensures that errors stand on the page, the last good advisory stays and is said to be old,
    and that a file that is gone is said so; a faulty case may still be filled in."""
    live = Live(case)
    page = LivePage(live)
    client = TestClient(application(page, frozenset((HOST,)), TOKEN, "ticket"),
                        base_url=f"http://{HOST}")
    client.get(f"/?token={TOKEN}")
    good = case.read_text(encoding="utf-8")
    try:
        case.write_text(good.replace("tillage: no-till", "tillage: none"), encoding="utf-8")
        live.refresh()
        text = client.get("/problems").text
        assert "CASE027" in text and "last text without errors" in text
        assert "Creek Bottom" in client.get("/advisory").text
        assert client.get("/news?after=1").json() == {"version": 2}
        case.write_text(good.replace("ph: 6.2", "ph: '"), encoding="utf-8")
        live.refresh()
        assert "CASE005" in client.get("/problems").text
        case.unlink()
        live.refresh()
        assert "No such file" in client.get("/problems").text
    finally:
        case.write_text(good, encoding="utf-8")


@pytest.mark.parametrize("typed", ["12 ppm", "{value: 12, unit: ppm}"])
def test_a_quantity_shows_in_its_box_however_it_is_typed(typed):
    """ensures that number and unit stand in their boxes, whether typed in one or in two parts."""
    source, _ = read_text(CASE.replace("12 ppm  # rerun", f"{typed}  # rerun"), "case.yaml")
    (box,) = (box for section in sections(source) for entry in section.entries
              for box in entry.boxes if box.name == PHOSPHORUS)
    assert (box.value, box.unit) == ("12", "ppm")
