"""Finds every word and name that goes through the message catalogue, and brings it up to date.

``python tests/i18n/catalogue.py`` adds new entries to each catalogue (empty, to be translated),
keeps the translated ones, and drops what no table or module says any more. Sentences are not
here: they are macros in ``templates/text/<language>/<topic>.j2``.
"""

from __future__ import annotations

import inspect
import sys
import tomllib
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from babel.messages import Catalog
from babel.messages.pofile import read_po, write_po

import loambrief
import loambrief.topics.formulas
from loambrief.agronomy.registry import FORMULAS
from loambrief.case import schema
from loambrief.case.codes import codes
from loambrief.report.workings import UNIT_OF, _label
from loambrief.resources import tables_dir, templates_dir
from loambrief.tables import load

LANGUAGES = ("es",)
PACKAGE = Path(loambrief.__file__).parent
COLUMNS = {
    "acidity/fineness_schemes": ("term",),
    "acidity/lime_tables": ("title", "basis"),
    "acidity/nitrogen_acidity": ("nitrogen_source",),
    "acidity/ph_targets": ("context",),
    "acidity/single_pass": ("placement",),
    "carbon_nitrogen/available_nitrogen": ("material", "period"),
    "soil_water/crop_water": ("printed_as",),
    "tissue/foliar": ("when",),
    "tissue/ranges": ("part", "stage"),
    "tissue/sap_nitrate": ("stage",),
    "carbon_nitrogen/carbon_clay": ("structure",),
    "carbon_nitrogen/compost_materials": ("material",),
    "carbon_nitrogen/residues": ("material",),
    "compaction/bulk_density": ("line",),
    "compaction/moisture": ("moisture", "effect"),
    "compaction/permeability_classes": ("permeability",),
    "compaction/rating": ("rating",),
    "forage/hay_losses": ("loss", "method"),
    "forage/intake": ("stock", "state"),
    "forage/mineral_limits": ("mineral",),
    "forage/nitrate_classes": ("class",),
    "forage/rfq_classes": ("stock",),
    "irrigation_water/restrictions": ("constituent",),
    "irrigation_water/trace_elements": ("element",),
    "nutrients/micronutrient_rates": ("placement",),
    "nutrients/micronutrients": ("class", "status", "method"),
    "nutrients/phosphorus_runoff": ("class", "level", "meaning"),
    "nutrients/secondary_classes": ("class",),
    "nutrients/sulfur": ("expectation",),
    "nutrients/surface_calcium": ("timing",),
    "nutrients/toxic_levels": ("region", "kind"),
    "refractometry/no_press": ("harm",),
    "salinity/classes": ("salinity_class", "usda_words", "effect"),
    "salinity/seed_row_limits": ("soil", "region"),
    "sampling/variation": ("test",),
    "sodicity/amendments": ("amendment",),
    "weeds/claims": ("meaning", "evidence"),
    "weeds/competition": ("statement",),
    "weeds/hazards": ("text",),
    "weeds/seedbank": ("statement",),
}
"""Columns whose cells are printed."""
NOUNS = {
    "cover_crops/species": "species",
    "crops/crops": "crop",
    "refractometry/no_press": "english",
    "salinity/crop_tolerance": "crop",
    "salinity/foliar_tolerance": "crop",
    "weeds/species": "common_name",
}
"""Columns of plants: they also get an entry with their article (context ``the``)."""
ADJECTIVES = {
    "carbon_nitrogen/carbon_clay": "structure",
    "compaction/permeability_classes": "permeability",
    "salinity/classes": "salinity_class",
}
"""Columns of words that also agree with a feminine noun (context ``f``)."""
CHOICES = {
    "FieldInfo": ("tillage", "irrigation", "drainage", "livestock"),
    "Methods": (),
    "Penetrometer": ("moisture",),
    "Sample": ("residue", "fizz", "texture"),
    "SapReading": ("line",),
}
"""Fields of a case with fixed choices that are printed; none named means every field."""
FEMININE_CHOICES = {"Sample": ("fizz",), "SapReading": ("line",)}
LITERALS = {
    "topics/sampling/formulas.py": ("current", "past the interval", "too old for a rate"),
    "topics/nutrients/formulas_manure.py": (
        "surface water", "tile inlet", "sinkhole", "well", "dwelling", "property line",
        "guide", "removal", "nitrogen", "none"),
    "topics/cations/formulas.py": ("usable", "suppressed", "unknown", "below", "inside", "above"),
    "topics/carbon_nitrogen/formulas_decay.py": ("tie-up", "about even", "release"),
    "topics/compaction/formulas_cone.py": ("usable", "not evidence for loosening",
                                            "cannot be judged"),
    "topics/compaction/formulas_air.py": ("ideal", "between ideal and affected", "may affect roots",
                                   "restricts roots"),
    "topics/forage/formulas_safety.py": ("below both limits", "over the laminitis limit",
                                  "over both limits", "short", "perhaps short", "enough", "high",
                                  "too high"),
    "topics/forage/formulas_grazing.py": ("grazed", "cut"),
    "topics/acidity/formulas_targets.py": (
        "below the limit", "below the best range", "within", "above the best range",
        "above the limit", "the soil fizzes with acid, so it holds free lime",
                                    "free lime is likely at this pH and was not tested for"),
    "topics/salinity/formulas_water_quality.py": ("safe", "marginal", "not suitable", "none",
                                       "slight to moderate", "severe"),
    "topics/nutrients/formulas_toxic.py": ("below", "watch", "harm expected"),
    "topics/refractometry/formulas.py": ("not listed", "agree", "differ", "do not press"),
    "topics/salinity/formulas_sodicity.py": ("saline", "sodic", "saline-sodic", "neither"),
}
"""Answers in words that modules write themselves, by module."""
COMMON = ("poultry manure", "legume", "grass", "zigzag", "grid", "random", "transect")
"""Names that many advisers type as they stand here."""
FEMININE_LITERALS = ("safe", "marginal", "not suitable", "none", "slight to moderate", "severe")

Entry = tuple[str, str, str]
"""Text, context, and where it is from."""


def cells(table: str, column: str) -> list[str]:
    """Distinct texts of a column; ``|`` sets names of one thing apart."""
    found = (text.strip() for cell in load(table).column(column) if cell
             for text in str(cell).split("|"))
    return [text for text in dict.fromkeys(found) if any(c.isalpha() for c in text)]


def entries() -> Iterator[Entry]:
    """Everything the catalogue must have."""
    for table, columns in COLUMNS.items():
        for column in columns:
            yield from ((text, "", f"{table}.csv") for text in cells(table, column))
    for table, column in NOUNS.items():
        for text in cells(table, column):
            yield text, "", f"{table}.csv"
            yield text, "the", f"{table}.csv"
    for table, column in ADJECTIVES.items():
        yield from ((text, "f", f"{table}.csv") for text in cells(table, column))
    yield from guide_words()
    yield from choices(CHOICES, "")
    yield from choices(FEMININE_CHOICES, "f")
    yield from ((text, "", "case/codes.csv") for code, text in codes().items() if code >= "CASE1")
    for module, texts in LITERALS.items():
        yield from ((text, "", module) for text in texts)
    yield from ((text, "", "cases") for text in COMMON)
    yield from ((text, "f", "topics/salinity/formulas_water_quality.py")
                for text in FEMININE_LITERALS)
    yield from calculation_words()


def choices(parts: dict[str, tuple[str, ...]], context: str) -> Iterator[Entry]:
    """Fixed choices of fields of a case."""
    def enums(part: object) -> Iterator[str]:
        if isinstance(part, dict):
            yield from part.get("enum", ())
            part = list(part.values())
        if isinstance(part, list):
            for inner in part:
                yield from enums(inner)

    for part, fields in parts.items():
        properties = getattr(schema, part).model_json_schema()["properties"]
        for field in fields or properties:
            yield from ((text, context, f"case/schema.py:{part}.{field}")
                        for text in enums(properties[field]) if any(c.isalpha() for c in text))


def guide_words() -> Iterator[Entry]:
    """Titles, kinds and classes of the guides that are shipped."""
    for path in sorted((tables_dir() / "nutrients" / "guides").glob("*.toml")):
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        place = f"nutrients/guides/{path.name}"
        yield raw["source"]["title"], "", place
        yield raw["guide"]["kind"], "", place
        for rule in raw["rule"]:
            yield from ((row["name"], "", place) for row in rule.get("classes", ()))


def calculation_words() -> Iterator[Entry]:
    """Names of formulas, of their inputs (context ``input``), and units in words (``unit``)."""
    for name, formula in sorted(FORMULAS.items()):
        place = f"agronomy:{name}"
        yield (formula.__doc__ or name).strip().splitlines()[0].rstrip("."), "", place
        for parameter in inspect.signature(formula).parameters:
            label = _label(parameter)[0].strip()
            yield label, "input", place
    for unit in sorted(set(UNIT_OF.values()) | set(WORD_UNITS)):
        if unit in WORD_UNITS:
            yield unit, "unit", "units"


WORD_UNITS = ("% of body weight", "animal units", "as et", "as given", "as mass", "as the test",
              "class",
              "currency/lb", "days", "grade", "index", "pH per year", "passes", "rank",
              "same as k", "same as k2o", "same as p", "same as p2o5", "same as requirement",
              "same as the maximum", "same as values", "samples", "unit/ac", "years",
              "yield unit/ac")
"""Units of answers that are words; symbols are the same in every language."""


def catalogue_path(language: str) -> Path:
    return templates_dir() / "text" / language / "LC_MESSAGES" / "loambrief.po"


def read(language: str) -> Catalog:
    """The catalogue of a language as it is."""
    with catalogue_path(language).open("rb") as stream:
        return read_po(stream, locale=language)


def updated(language: str) -> Catalog:
    """The catalogue with exactly the entries that are found, translations kept."""
    old = read(language)
    new = Catalog(locale=language, charset="utf-8", fuzzy=False)
    for text, context, place in entries():
        kept = old.get(text, context or None)
        new.add(text, kept.string if kept else "", locations=[(place, None)],
                context=context or None)
    return new


HEADER = """\
# Words and names of the advisory. Sentences are in the .j2 files beside it.
# Kept by tests/i18n/catalogue.py; it writes no date, so that equal entries are equal bytes.
msgid ""
msgstr ""
"Project-Id-Version: loambrief\\n"
"Language: {language}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def as_bytes(language: str, catalogue: Catalog) -> bytes:
    """A catalogue as its file has it."""
    stream = BytesIO()
    write_po(stream, catalogue, width=96, sort_output=True, omit_header=True)
    return HEADER.format(language=language).encode() + stream.getvalue()


def write(language: str, catalogue: Catalog) -> None:
    catalogue_path(language).write_bytes(as_bytes(language, catalogue))


def main() -> int:
    """Write every catalogue; the number of texts that still lack a translation."""
    empty = 0
    for language in LANGUAGES:
        catalogue = updated(language)
        write(language, catalogue)
        empty += sum(1 for message in catalogue if message.id and not message.string)
    return empty


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
