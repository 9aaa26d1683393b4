"""Cases and archives for the tests of the record."""

from __future__ import annotations

import atexit
import datetime as dt
import re
import shutil
from collections.abc import Callable
from itertools import count
from pathlib import Path
from tempfile import mkdtemp

from sample_reports import CASES, short_text

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


def copied(folder: Path, to: Path) -> Path:
    """A copy of an archive, to be changed."""
    shutil.copytree(folder, to)
    return to
