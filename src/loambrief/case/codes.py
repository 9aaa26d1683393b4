"""Every problem code of a case file and what it means. Codes never change their meaning.

CASE001 to CASE019: the file itself. CASE020 to CASE039: one value. CASE040 to CASE059: values that
do not fit each other. CASE060 to CASE079: lab files, profiles, field sheets and workbooks. CASE101
and up: warnings, where a value is possible but unlikely, or where the advice will be weaker for
it; an adviser can accept a warning with a reason. Two more codes stand only under ``accept``: with
``UNJUDGED`` an adviser issues without a verdict, with ``MEMORY`` on values of a source that were
not checked against the print; :mod:`loambrief.record.completeness` holds them against the advice.
Codes that begin with ``ISSUE-`` are the points of the table ``record/completeness``; some may be
left out under ``accept`` with a reason.
"""

from collections.abc import Mapping
from types import MappingProxyType

from loambrief.tables import load

OF_ADVICE = ("UNJUDGED", "MEMORY")
"""Codes of an accepted point that only the advice can have, never the case by itself."""

OF_PLAN = ("CASE131", "CASE132", "CASE133")
"""Warnings that only the finished plan can give."""


def asked_at_issue() -> frozenset[str]:
    """Codes of what an advisory must hold to be issued."""
    return frozenset(str(row["code"]) for row in load("record/completeness"))

CODES: Mapping[str, str] = MappingProxyType(
    {
        "CASE001": "not a regular file (a folder, a pipe, a device)",
        "CASE002": "file larger than the limit",
        "CASE003": "text is not UTF-8",
        "CASE004": "control or invisible character",
        "CASE005": "not well-formed YAML",
        "CASE006": "more than one document in the file",
        "CASE007": "nested too deep",
        "CASE008": "too many values, counting every repeat of an alias",
        "CASE009": "YAML tag",
        "CASE010": "key given twice",
        "CASE011": "merge key",
        "CASE012": "alias without its anchor, or anchor given twice",
        "CASE013": "key that is not plain text",
        "CASE014": "number that is infinite, undefined or too large",
        "CASE015": "file is empty or is not a group of keys",
        "CASE019": "more problems than are printed",
        "CASE020": "unknown key",
        "CASE021": "required value missing",
        "CASE022": "wrong kind of value",
        "CASE023": "quantity without a unit",
        "CASE024": "unit that does not belong to the quantity",
        "CASE025": "quantity not readable",
        "CASE026": "value that cannot be",
        "CASE027": "not one of the choices",
        "CASE028": "not a date",
        "CASE029": "not a time of day",
        "CASE030": "not a number",
        "CASE031": "text too short or too long",
        "CASE032": "identifier with characters that are not allowed",
        "CASE033": "not a depth range",
        "CASE034": "too few or too many entries",
        "CASE040": "result without its method",
        "CASE041": "sample areas missing or larger than the field",
        "CASE042": "identifier used twice",
        "CASE043": "depth increments overlap",
        "CASE044": "penetrometer readings do not match the depths",
        "CASE045": "penetrometer depths not increasing",
        "CASE046": "nitrate without the form it is reported in",
        "CASE047": "dates in an impossible order",
        "CASE048": "unit that cannot be converted here",
        "CASE049": "boundary that is not GeoJSON polygons of this case",
        "CASE050": "guide, lime table, crop or region that nobody knows",
        "CASE051": "further sample of a zone that cannot be treated so",
        "CASE052": "own entry that names no action, material or zone of this case",
        "CASE053": "own entry that lacks or contradicts something",
        "CASE054": "own entry above a legal or published limit",
        "CASE055": "tenure that contradicts itself",
        "CASE056": "constraint or substance that fits no material",
        "CASE057": "neighbour beside no zone of the case",
        "CASE058": "strip without width",
        "CASE060": "lab file that cannot be read as a table",
        "CASE061": "mapped column that is not in the lab file, or is there twice",
        "CASE062": "mapping that is not confirmed or not filled in",
        "CASE063": "cell of a lab file that is not a result",
        "CASE064": "result of a lab file given twice",
        "CASE065": "row of a lab file without its sample, depth or date",
        "CASE066": "case text that cannot be edited in place",
        "CASE067": "profile file that may not be read from here",
        "CASE068": "lab file and case that do not fit each other",
        "CASE069": "PDF that is not a filled field sheet of this program",
        "CASE070": "box of a field sheet that does not hold what it asks for",
        "CASE071": "field sheet and case that do not fit each other",
        "CASE072": "photo that cannot be printed",
        "CASE073": "earlier case that does not belong to this one",
        "CASE074": "action that is neither done nor left out",
        "CASE075": "colour that cannot be read on the page",
        "CASE076": "logo that cannot be printed",
        "CASE077": "value that a workbook has no place for",
        "CASE078": "workbook that this program did not make, or that was rebuilt",
        "CASE079": "cell of a workbook that cannot be read, or does not fit the case",
        "CASE101": "soil pH and buffer pH do not fit each other",
        "CASE102": "cations and cation exchange capacity do not fit each other",
        "CASE103": "organic matter and texture do not fit each other",
        "CASE104": "value far outside the usual range",
        "CASE105": "oxide and element may be swapped",
        "CASE106": "surface slice holds more than the whole layer",
        "CASE107": "gap between depth increments",
        "CASE108": "few cores in a composite sample",
        "CASE109": "large area for one sample",
        "CASE110": "old test",
        "CASE111": "few refractometer readings",
        "CASE112": "penetrometer used in dry soil",
        "CASE113": "salinity not measured in the saturation extract",
        "CASE114": "crop not in the crop table",
        "CASE115": "weed not in the weed table",
        "CASE116": "adviser's credential has expired",
        "CASE117": "accepted warning that did not occur",
        "CASE118": "nothing was measured",
        "CASE119": "placeholder of the starter case still in place",
        "CASE120": "salinity and the sum of cations do not fit each other",
        "CASE121": "two slices with the same results",
        "CASE122": "surface slice sampled with its residue",
        "CASE123": "drawn area and stated area do not fit each other",
        "CASE124": "chosen guide or lime table has no rule for this crop or test",
        "CASE125": "region that no guide or lime table can be chosen by",
        "CASE126": "lb/ac without the laboratory's convention",
        "CASE127": "place that sounds like traffic, judged with the field",
        "CASE128": "water nearer than its setback",
        "CASE129": "harvest sooner than the interval of a material",
        "CASE130": "price per volume without the density",
        "CASE131": "own entry outside what is usual here",
        "CASE132": "nitrogen line that does not add up with what is counted",
        "CASE133": "work set aside that keeps stock or people safe",
    }
)
"""Code -> meaning."""


def is_warning(code: str) -> bool:
    """True for codes that leave the case usable."""
    return code >= "CASE100"
