"""Cases and archives for the tests of the record."""

from __future__ import annotations

import atexit
import datetime as dt
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from tempfile import mkdtemp
from unittest.mock import patch

from sample_reports import CASES, short_text

from loambrief import pipeline
from loambrief.record import redact
from loambrief.render import pdf

WHOLE = CASES["acid_corn_ohio"]
SAMPLE = Path(mkdtemp(prefix="loambrief-")) / "case.yaml"
"""A short case: what is tested here goes for each of the pages alike."""
SAMPLE.write_text(short_text(), encoding="utf-8")
ZONES = SAMPLE.with_name("zones.yaml")
"""The same with two zones."""
ZONES.write_text(short_text(2), encoding="utf-8")
atexit.register(shutil.rmtree, SAMPLE.parent)
NUMBER = "IV-2026-0001"
CLIENT = "Pruett & Daughters Grain"
PERSONAL = ("pruett", "odessa", "larkspur", "tarrow", "555-0142", "east 40")
"""What must not be found once the client is erased or struck."""


def clock(day: int = 2) -> Callable[[], dt.datetime]:
    """Moves one minute each time it is read."""
    minutes = count()
    return lambda: dt.datetime(2026, 11, day, 8, tzinfo=dt.UTC) + dt.timedelta(
        minutes=next(minutes))


def case_file(folder: Path, source: Path = SAMPLE, **changes: str) -> Path:
    """The sample, or another case, in a folder of its own, with whole lines replaced or left out.

    A change names a pattern of :data:`LINES` and gives the text in its place.
    """
    folder.mkdir(parents=True, exist_ok=True)
    text = source.read_text(encoding="utf-8")
    for name, new in changes.items():
        text, found = re.subn(LINES[name], new, text, count=1, flags=re.MULTILINE)
        assert found, name
    path = folder / "case.yaml"
    path.write_text(text, encoding="utf-8")
    return path


LINES = {
    "valid": r"^  valid_until: .*\n",
    "purpose": r"^  purpose: .*\n",
    "jurisdiction": r"^  jurisdiction: .*\n",
    "reach_client": r"^  address: 4410.*\n  phone: .*\n  email: .*\n",
    "location": r"^  location: .*\n",
    "field_id": r"^  id: E40\n",
    "previous": r"^  previous_crop: .*\n",
    "goal": r"^  yield_goal:\n.*\n.*\n",
    "business": r"^  business: .*\n",
    "adviser_address": r"^  address: 12 Depot.*\n",
    "expires": r"^    expires: .*\n",
    "sampler": r"^    sampler: .*\n",
    "cores": r"^    cores: 16\n",
    "report": r"^      report: MR-26-1881\n",
    "dates": r"^      received: .*\n      reported: .*\n",
    "lab": r"^      name: Millrace Soil Laboratory\n",
    "stage": r", stage: heading",
    "cover": r"cover: 6 %, ",
    "price": r"^    price: \{amount: 24, per: ton, date: 2026-10-01\}\n",
    "accept": r"^accept:\n(?:  .*\n)+",
    "budget": r"^  amount: 9000\n",
    "north_ph": r"^        ph: 5.6$",
    "id": r"^  id: tarrow-east-40$",
    "client": r"^  name: Pruett & Daughters Grain$",
    "notes": r"^notes:\n",
}


REPORT = b"%PDF-1.4\n% report of a laboratory to Odessa Pruett\n%%EOF\n"
LAB = "      name: Millrace Soil Laboratory\n      pdf: odessa-pruett.pdf\n"
AREAS = {"N": (-83.10, 40.150, 24), "S": (-83.10, 40.155, 18)}
"""West edge, south edge [degrees] and area [ac] of each zone."""


def _outline(west: float, south: float, acres: float) -> str:
    """A rectangle 0.01 degrees wide: there 850.6 m (worked by hand, to 0.1 %)."""
    north = south + acres * 4046.86 / 850.6 / 111_034
    corners = [(west, south), (west + 0.01, south), (west + 0.01, north), (west, north),
               (west, south)]
    return " ".join(f"{x:.6f},{y:.6f}" for x, y in corners)


def drawn_case(folder: Path, source: Path = ZONES, **changes: str) -> Path:
    """:func:`case_file` with its zones in a KML file and the laboratory's report beside it."""
    path = case_file(folder, source, lab=LAB, **changes)
    path.write_text(path.read_text() + "boundary: {file: zones.kml}\n")
    marks = "".join(
        f"<Placemark><ExtendedData><Data name='sample'><value>{name}</value></Data></ExtendedData>"
        f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{_outline(*where)}</coordinates>"
        "</LinearRing></outerBoundaryIs></Polygon></Placemark>\n"
        for name, where in AREAS.items() if f"  - id: {name}\n" in path.read_text())
    (folder / "zones.kml").write_text(f"<kml><Document>\n{marks}</Document></kml>")
    (folder / "odessa-pruett.pdf").write_bytes(REPORT)
    return path


@contextmanager
def unprinted() -> Iterator[None]:
    """In place of each document of an advisory, all that its model holds: two are the same if
    their models are. For tests that look at what is said, kept or handed on, not at pages."""
    def held(model, **_):
        return b"\n".join((f"%PDF {model!r}".encode(), *(a.content for a in model.attachments)))

    def render(*given, **more):
        with patch.object(pdf, "render_pdf", held):
            return drawn(*given, **more)

    def strings_of(name, content):
        return [("page 1", told(content))] if content.startswith(b"%PDF R") else read(name, content)

    drawn, read = pipeline.render, redact.strings_of
    with patch.object(pipeline, "render", render), patch.object(redact, "strings_of", strings_of):
        yield


def told(content: bytes) -> str:
    """The words of a document that was not drawn."""
    return content.decode(errors="replace").replace("\\xa0", " ")


def copied(folder: Path, to: Path) -> Path:
    """A copy of an archive, to be changed."""
    shutil.copytree(folder, to)
    return to
