"""What kind of report a lab's file is, and which results of a case each kind holds.

Results of a slice keep their plain names; those of other reports carry their part in front
(``forage.adf``, ``water.sodium``, ``analysis.p2o5``), so that no number of one kind can land in
another. A kind that the words of the file do not settle is asked for, never assumed.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from loambrief.case.measurements import HeaderSpelling, field_at, headers_of, path_of
from loambrief.case.part import Part
from loambrief.case.quantities import unit_spellings
from loambrief.case.schema import Forage, Increment, Water
from loambrief.case.schema_materials import Analysis
from loambrief.case.schema_tests import TissueTest
from loambrief.tables import load
from loambrief.units import tidy_unit

CLUES, RESULTS = "case/report_kinds", "case/report_results"
SOIL = "soil"
PART_OF = MappingProxyType({"forage": "forage", "water": "water", "tissue": "tissue",
                            "manure": "analysis", "compost": "analysis"})
"""Kind of report -> first step of its results' names."""
REPORTS = (SOIL, *PART_OF)
"""Kinds that a case can hold."""
BASIS = MappingProxyType({SOIL: "dry", "forage": "dry", "tissue": "dry", "manure": "received",
                          "compost": "received"})
"""What the numbers of a case are per: results on the other basis are never proposed."""
_MODELS: Mapping[str, type[Part]] = MappingProxyType(
    {"forage": Forage, "water": Water, "tissue": TissueTest, "analysis": Analysis})
LEAST, LEAD = 2.0, 1.5
"""Score that a kind needs, and how many times that of the next kind it must be."""
_BASIS_WORDS = MappingProxyType({
    "dry": re.compile(r"\b(dry( (matter|basis|weight|wt))?|dm|db|dw)\b"),
    "received": re.compile(r"\b(as[ -](received|fed|is)|wet( basis)?|fresh)\b")})


@dataclass(frozen=True)
class Kind:
    """The kind of a report."""

    name: str
    """``soil``, ``forage``, ``water``, ``tissue``, ``manure`` or ``compost``; empty if not
    clear."""
    likely: tuple[str, ...]
    """Kinds the file's words speak for, likeliest first."""
    why: tuple[str, ...]
    """Words of the file that decided."""


def fold(text: str) -> str:
    """Small letters without accents, ``SampleName`` and ``sample_name`` as two words."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])|(?<=[a-z])(?=ID\b)|_", " ", tidy_unit(text))
    text = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in text if not unicodedata.combining(c)).split())


@cache
def _clues() -> tuple[tuple[str, str, float, re.Pattern[str]], ...]:
    return tuple((row["kind"], row["where"], row["weight"], re.compile(row["clue"]))
                 for row in load(CLUES))


def kind_of(titles: Iterable[str], headers: Iterable[str]) -> Kind:
    """The kind of report that the words of a file speak for.

    ``titles`` are the file's name and cells above the header (the names of laboratories decide
    nothing), ``headers`` the headers, or analytes, with their units.
    """
    above = [t for t in map(fold, titles) if not re.search(r"labor", t)]
    across = [fold(h) for h in headers if h]
    scores: dict[str, float] = {}
    why: dict[str, list[str]] = {}
    for kind, where, weight, clue in _clues():
        hits = [t for t in (above if where == "title" else across) if clue.search(t)]
        if hits:
            scores[kind] = scores.get(kind, 0) + weight * (1 if where == "title" else len(hits))
            why.setdefault(kind, []).extend(hits)
    likely = tuple(sorted(scores, key=lambda k: -scores[k]))
    best = likely[0] if likely else ""
    second = scores[likely[1]] if len(likely) > 1 else 0.0
    clear = bool(best) and scores[best] >= LEAST and scores[best] >= LEAD * second
    return Kind(best if clear else "", likely, tuple(dict.fromkeys(why.get(best, ())))[:4])


@cache
def fields_of(report: str) -> tuple[str, ...]:
    """Names of the results that a kind of report may give, other than soil."""
    part = PART_OF[report]
    return tuple(field_at(part, row["field"]) for row in load(RESULTS) if row["part"] == part)


@cache
def headers_by_field(report: str) -> Mapping[str, tuple[HeaderSpelling, ...]]:
    """Name of a result -> spellings of its header, other than soil."""
    part = PART_OF[report]
    return MappingProxyType({field_at(part, row["field"]): headers_of(row["headers"])
                             for row in load(RESULTS) if row["part"] == part})


def model_of(field: str) -> tuple[type[Part], str]:
    """Class of the schema that holds a result, and its field there."""
    *above, last = path_of(field)
    model = _MODELS.get(above[0]) if above else None
    return (model, last) if model else (Increment, field)


# units -----------------------------------------------------------------------------------


def lab_unit(text: str) -> tuple[str, str]:
    """A lab's spelling of a unit as the case's, and the basis it names.

    ``("mg/kg", "dry")`` for ``"mg/kg dry"``; ``("none", "")`` for ``"s.u."``; an unknown spelling
    comes back as it is.
    """
    unit = tidy_unit(text)
    return unit_spellings().get(" ".join(unit.lower().split()), (unit, ""))


def fold_unit(text: str) -> str:
    """A unit to compare with another: one spelling, no blanks, empty for a pH's."""
    return lab_unit(text)[0].removeprefix("none").lower().replace(" ", "")


def basis_in(text: str) -> str:
    """``dry`` or ``received`` if a header says so."""
    text = fold(text)
    return next((name for name, words in _BASIS_WORDS.items() if words.search(text)), "")


def without_basis(text: str) -> str:
    """A header without the words of its basis."""
    for words in _BASIS_WORDS.values():
        text = words.sub(" ", text)
    return " ".join(re.sub(r"[(\[]\s*[)\]]", " ", text).split()).strip(" ,;:-")
