"""The commented starter case that ``loambrief new`` writes."""

import datetime as dt
import json
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from loambrief.case.names import PERENNIAL, crops, fold
from loambrief.case.plausible import STARTER_ID
from loambrief.case.reader import UNWANTED, decode, read_bytes, read_text
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.resources import templates_dir
from loambrief.units import LB_PER_TON, T_PER_HA_PER_TON_PER_ACRE

FORAGE = {"alfalfa": "legume", "grass forage": "grass"}
"""Crop group -> kind of forage."""
EXAMPLE_TON_AC = {"grain": 4.0, "alfalfa": 5.0, "grass forage": 3.0, "vegetable": 15.0,
                  "tuber": 20.0, "fruit": 10.0}
"""Example yields by crop group, short ton/ac; invented, to be replaced by the user."""

REMARK_COLUMN = 34
_REMARK = re.compile(r"(?m)^(?!##)(.*?\S) {2,}(## .*)$")


def starter_case(
    units: str = "us",
    crop: str = "corn",
    region: str | None = None,
    date: dt.date | None = None,
    paper: str | None = None,
    language: str | None = None,
    adviser: Path | None = None,
    prices: str | None = None,
) -> str:
    """Text of a starter case that loads as it is, with warnings about its placeholders.

    Parameters
    ----------
    units : str
        ``"us"`` or ``"si"``, for the examples and for what is printed.
    crop : str
        A crop of the crop table, by any of its names.
    date : datetime.date or None
        Date of the case; today if None.
    paper, language : str or None
        As in a case; None: paper by the units, and English.
    adviser : Path or None
        Profile whose text is put in under ``adviser:``.
    prices : str or None
        Price list that cases share, as the case names it: a file with ``materials:``.

    Raises
    ------
    UnknownName
        No such unit system or crop.
    ImpossibleInput
        A region with line breaks or control characters.
    CaseProblems
        The profile cannot be read.
    """
    if units not in ("us", "si"):
        raise UnknownName("unit system", units, ("us", "si"))
    row = crops().get(fold(crop))
    if row is None:
        raise UnknownName("crop", crop, tuple(sorted(crops())))
    region = region.strip() if region else None
    if region and (UNWANTED.search(region) or len(region.splitlines()) > 1 or len(region) > 200):
        raise ImpossibleInput(f"{region[:60]!r} is not the name of a region")
    date = date or dt.date.today()
    text = starter_text(
        "case.yaml.j2", _quoted,
        us=units == "us",
        paper=paper or ("letter" if units == "us" else "a4"),
        language=language,
        adviser=_profile(adviser),
        prices=prices,
        id=STARTER_ID,
        date=date.isoformat(),
        later=(date + dt.timedelta(days=180)).isoformat(),
        expires=(date + dt.timedelta(days=365)).isoformat(),
        crop=row["crop"],
        region=region,
        tillage="perennial" if row["group"] in PERENNIAL else "conventional",
        forage=row["group"] in FORAGE,
        kind=FORAGE.get(str(row["group"]), ""),
        soil="ppm" if units == "us" else "mg/kg",
        yield_goal=_example_yield(row, units),
    )
    return re.sub(_REMARK, lambda m: f"{m[1] + '  ':<{REMARK_COLUMN}}{m[2]}", text)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def starter_text(template: str, quoted: Callable[[str], str], **values: object) -> str:
    """A file to start from, by a template of ``templates/starter``; ``quoted`` quotes a text."""
    environment = _environment(templates_dir() / "starter", quoted)
    return environment.get_template(template).render(**values)


@cache
def _environment(folder: Path, quoted: Callable[[str], str]) -> Environment:
    made = Environment(
        loader=FileSystemLoader(folder), undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True, autoescape=False,
    )
    made.filters["quoted"] = quoted
    return made


def _profile(path: Path | None) -> str:
    """Text of a profile, moved in by one step; it is read first, so that it is one."""
    if path is None:
        return ""
    text = decode(read_bytes(path), str(path))
    read_text(text, str(path))
    lines = [line for line in text.splitlines() if line.strip() not in ("---", "...")]
    return "".join(f"  {line}\n" if line.strip() else "\n" for line in lines)


def _example_yield(row, units: str) -> str:
    ton_ac = EXAMPLE_TON_AC.get(row["group"], 1.2)
    if units == "si":
        value, unit = ton_ac * T_PER_HA_PER_TON_PER_ACRE, "t/ha"
    else:
        value, unit = ton_ac * LB_PER_TON / row["lb_per_unit"], row["yield_unit"]
    return f"{float(f'{value:.2g}'):g} {unit}"  # two digits, never as a power of ten
