"""Names that a case borrows from the tables: its guide, lime table, crops and region.

A name nobody knows is refused (a placeholder in angle brackets is not: it has a warning of
its own), because all that hangs on it would be missing from the advice without a word. Where
a known guide or lime table has nothing to say about this crop or test, the adviser is warned
and told which ones have.
"""

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import PurePosixPath
from types import MappingProxyType

from loambrief.case.guide_file import ANY_CROP, LoadedGuide
from loambrief.case.names import crops, fold
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import did_you_mean, nearest, show
from loambrief.case.schema import CaseFile
from loambrief.tables import all_documents, load, load_document
from loambrief.tables.regions import REGIONS, named

GUIDES = "nutrients/guides"
LIME_TABLES = "acidity/lime_tables"
LISTED_COUNTRIES = ("usa", "us", "u.s.", "u.s.a.", "united states", "united states of america",
                    "canada")
TESTS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {"P2O5": ("phosphorus", "phosphorus"), "K2O": ("potassium", "cations")})
"""Nutrient of a guide -> result that it is read from, method that the result is by."""


@cache
def shipped_guides() -> Mapping[str, Mapping[str, object]]:
    """Name -> data of every guide that comes with the program."""
    return MappingProxyType({PurePosixPath(name).name: load_document(name)
                             for name in all_documents(GUIDES)})


def lime_tables() -> Mapping[str, Mapping[str, object]]:
    """Name -> row of every lime table."""
    return {str(row["name"]): row for row in load(LIME_TABLES)}


@cache
def regions() -> Mapping[str, str]:
    """Region in lower case -> as printed: of the list, of the guides and of the lime tables."""
    named = [str(row["region"]) for row in load(REGIONS)]
    for guide in shipped_guides().values():
        named += guide["guide"]["regions"]  # type: ignore[index]
    for row in lime_tables().values():
        named += [r for r in str(row["regions"] or "").split("|") if r]
    return MappingProxyType({name.lower(): name for name in named})


def name_faults(case: CaseFile, own: Iterable[LoadedGuide] = ()) -> Iterator[Fault]:
    """Names that no table, and no guide file of the case, has."""
    guides = (*shipped_guides(), *(guide.name for guide in own))
    if case.guide is not None and "<" not in case.guide and case.guide not in guides:
        yield _unknown(("guide",), case.guide, "a guide", guides,
                       "A guide of your own is named by its file: guide: {file: ...}.")
    lime_table = case.lime_table
    if lime_table is not None and "<" not in lime_table and lime_table not in lime_tables():
        yield _unknown(("lime_table",), lime_table, "a lime table", lime_tables())
    unlisted = {fold(name) for name in case.field.unlisted_crops}
    for key in ("crop", "following_crop"):
        typed = getattr(case.field, key)
        if typed is not None and "<" not in typed and fold(typed) not in {*crops(), *unlisted}:
            yield _unknown(("field", key), typed, "a crop of the crop table",
                           tuple(dict.fromkeys(str(row["crop"]) for row in crops().values())),
                           "If the table really lacks it, say so with field.unlisted_crops: "
                           f"[{typed[:40]}]; no rate can then be given for it.", crops())
    yield from _region(case, certain=True)


def _unknown(path: DataPath, typed: str, what: str, known: Iterable[str], help: str = "",
             spellings: Iterable[str] = ()) -> Fault:
    hint = did_you_mean(fold(typed) if spellings else typed, (*known, *spellings),
                        f"Known: {', '.join(sorted(known))}.")
    return Fault("CASE050", path, show(typed), what, f"{hint} {help}".strip())


def _region(case: CaseFile, certain: bool) -> Iterator[Fault]:
    """A region of no known name: wrong where the country is listed or a known name is near."""
    typed, country = case.farm.region, (case.farm.country or "").strip().lower()
    if typed is None or "<" in typed or (country and country not in LISTED_COUNTRIES):
        return
    folded = " ".join(typed.lower().split())
    if named((typed,), regions().values()):
        return
    near = {str(row["code"]).lower(): str(row["region"]) for row in load(REGIONS)}.get(folded)
    near = near or nearest(typed, regions().values(), cutoff=0.75)
    if bool(country or near) == certain:
        yield Fault("CASE050" if certain else "CASE125", ("farm", "region"), show(typed),
                    "the name of a state or province, with or without a part of it",
                    (f"Did you mean {near!r}? " if near else "")
                    + "In another country, name that as farm.country.",
                    needs=(("farm", "country"),) if country else ())


def name_warnings(case: CaseFile, own: Iterable[LoadedGuide] = ()) -> Iterator[Fault]:
    """The chosen guide or lime table does not cover this crop or this test."""
    yield from _region(case, certain=False)
    guides = {**shipped_guides(), **{guide.name: guide.data for guide in own}}
    row = crops().get(fold(case.field.crop))
    if case.guide in guides and row is not None:
        names = tuple(str(name) for name in (row["crop"], row["parent"], ANY_CROP) if name)
        yield from _guide(case, guides, names)
    if case.lime_table in lime_tables():
        yield from _lime_table(case)


def _methods(guide: Mapping[str, object], nutrient: str, names: tuple[str, ...]) -> set[str]:
    """Test methods for which a guide has a rule under one of a crop's names."""
    return {method for rule in guide["rule"]  # type: ignore[attr-defined]
            if rule["nutrient"] == nutrient and set(names) & set(rule["crops"])
            for method in rule["methods"]}


def _guide(case: CaseFile, guides: Mapping[str, Mapping[str, object]],
           names: tuple[str, ...]) -> Iterator[Fault]:
    chosen, lacking = guides[str(case.guide)], []
    for nutrient, (result, method_key) in TESTS.items():
        covered = _methods(chosen, nutrient, names)
        for i, sample in enumerate(case.samples):
            method = getattr(sample.methods, method_key)
            if method is None or all(getattr(inc, result) is None for inc in sample.increments):
                continue
            if not covered:
                lacking.append((nutrient, method))
            elif method not in covered:
                yield Fault("CASE124", ("samples", i, "methods", method_key),
                            f"{method}, for which {case.guide} has no {nutrient} rule for "
                            f"{names[0]}", f"{' or '.join(sorted(covered))}, or another guide",
                            _others(guides, names, [(nutrient, method)]))
    if lacking:
        wanted = list(dict.fromkeys(lacking))
        nutrients = " and ".join(dict.fromkeys(nutrient for nutrient, _ in wanted))
        yield Fault("CASE124", ("guide",),
                    f"{show(case.guide)}, which has no {nutrients} rule for {names[0]}",
                    "a guide that covers this crop and its tests",
                    _others(guides, names, wanted), needs=(("field", "crop"),))


def _others(guides: Mapping[str, Mapping[str, object]], names: tuple[str, ...],
            wanted: list[tuple[str, str]]) -> str:
    """Which guides have rules for all that is wanted, or for each part of it."""
    def holding(pairs: list[tuple[str, str]]) -> list[str]:
        return [f"{name} ({', '.join(guide['guide']['regions'])})"  # type: ignore[index]
                for name, guide in guides.items()
                if all(method in _methods(guide, nutrient, names) for nutrient, method in pairs)]

    def other_tests(nutrient: str) -> str:
        found = [f"{name} by {', '.join(sorted(by))}" for name, guide in guides.items()
                 if (by := _methods(guide, nutrient, names))]
        return f"no guide (by other tests: {'; '.join(found)})" if found else "no guide"

    if whole := holding(wanted):
        return f"These have: {', '.join(whole)}."
    parts = [f"{nutrient} by {method}: "
             f"{', '.join(holding([(nutrient, method)])) or other_tests(nutrient)}"
             for nutrient, method in wanted]
    return f"{'; '.join(parts)}. Without a rule nothing is judged; give a guide file of your own."


def _lime_table(case: CaseFile) -> Iterator[Fault]:
    fits = str(lime_tables()[str(case.lime_table)]["buffers"]).split("|")
    for i, sample in enumerate(case.samples):
        method = sample.methods.buffer
        if method is None or method in fits:
            continue
        others = [name for name, row in lime_tables().items()
                  if method in str(row["buffers"]).split("|")]
        yield Fault("CASE124", ("samples", i, "methods", "buffer"),
                    f"{method}, for which the lime table {case.lime_table} was not made",
                    f"{' or '.join(fits)}, or another lime table",
                    f"These have it: {', '.join(others)}." if others else
                    "No lime table has it.", needs=(("lime_table",),))
