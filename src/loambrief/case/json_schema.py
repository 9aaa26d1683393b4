"""JSON Schema 2020-12 of the case file and of a mapping, for any editor that knows it.

The program itself is the judge of a case; the schema knows neither the relations between
values nor the physical limits of a quantity.
"""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from loambrief.case.guide_schema import GuideFile
from loambrief.case.intake_map import EXAMPLE, MapFile
from loambrief.case.known_names import lime_tables, regions, shipped_guides
from loambrief.case.names import crops
from loambrief.case.profiles import SHARED
from loambrief.case.schema import CaseFile, Part
from loambrief.case.validate import glossary, parts

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ABOUT = ("One crop and soil advisory: who asks, which field, what was measured, what is on offer. "
         "Every quantity carries its unit. Leave out, or leave blank, what was not measured.")


def case_schema() -> dict[str, object]:
    """The schema as plain data: descriptions of every key from the glossary, the choices."""
    schema = CaseFile.model_json_schema()
    definitions = schema.get("$defs", {})
    for name, (part, _) in parts().items():
        _describe(schema if part is CaseFile else definitions[name], part)
    for name in SHARED:
        _allow_file(schema["properties"][name])
    _list_names(schema["properties"], definitions)
    schema.pop("description", None)
    schema.pop("title", None)
    return {"$schema": DIALECT, "$id": "urn:loambrief:case:1", "title": "Loambrief case file",
            "description": ABOUT, **schema}


def map_schema() -> dict[str, object]:
    """JSON Schema of the mapping that ``intake --map`` takes, with an example."""
    schema = MapFile.model_json_schema()
    about = {"title": "Loambrief mapping of a laboratory's file", "examples": [EXAMPLE]}
    return {"$schema": DIALECT, "$id": "urn:loambrief:map:1", **schema, **about}


def guide_schema() -> dict[str, object]:
    """JSON Schema of a guide file of one's own, every kind of rule with its keys."""
    return {"$schema": DIALECT, "$id": "urn:loambrief:guide:1", **GuideFile.model_json_schema(),
            "title": "Loambrief guide file"}


def _describe(node: dict, part: type[Part]) -> None:
    node["description"] = (part.__doc__ or part.__name__).strip().split("\n\n")[0].strip()
    required = set(node.get("required", ()))
    for field, about in node["properties"].items():
        about.pop("title", None)
        meaning = glossary()[part.__name__, field]
        meaning = f"{meaning[0].upper()}{meaning[1:]}"
        nullable = any(option.get("type") == "null" for option in about.get("anyOf", ()))
        if field not in required and not nullable:
            default = about.pop("default", None)
            inner = dict(about)
            about.clear()
            about["anyOf"] = [inner, {"type": "null"}]
            if default not in (None, []):
                about["default"] = default
        if about.get("default", 0) in (None, []):
            about.pop("default")
        about["description"] = f"{meaning}." + _units(about)


@cache
def named_choices() -> Mapping[tuple[str, str], tuple[str, ...]]:
    """(part, field) -> names out of the tables, for fields whose names stand there."""
    crop_names = tuple(sorted({str(row["crop"]) for row in crops().values()}))
    return MappingProxyType({
        ("CaseFile", "guide"): tuple(sorted(shipped_guides())),
        ("CaseFile", "lime_table"): tuple(sorted(lime_tables())),
        ("Farm", "region"): tuple(sorted(regions().values())),
        **{("FieldInfo", key): crop_names for key in ("crop", "previous_crop", "following_crop")}})


def _list_names(top: dict, definitions: dict) -> None:
    """Names out of the tables, for completion; what else may stand there beside them."""
    own_guide = {"type": "string", "pattern": r"(?i)\.(yaml|yml|toml)$"}
    for (part, field), names in named_choices().items():
        about = (top if part == "CaseFile" else definitions[part]["properties"])[field]
        beside = {"guide": own_guide, "lime_table": None}.get(field, {"type": "string"})
        options = [o for o in about.pop("anyOf", ()) if o.get("type") in ("null", "object")]
        for key in ("type", "minLength", "maxLength"):
            about.pop(key, None)
        about["anyOf"] = [{"enum": list(names)}, *([beside] if beside else []), *options]


def _allow_file(about: dict) -> None:
    """A shared part may name a file instead; materials may also list files."""
    named = {
        "type": "object", "properties": {"file": {"type": "string"}}, "required": ["file"],
        "additionalProperties": False, "description": "Path of a file that holds this part",
    }
    for option in about.get("anyOf", ()):
        if option.get("type") == "array":
            option["items"] = {"anyOf": [option["items"], dict(named)]}
    if "anyOf" in about:
        about["anyOf"].append(named)
    else:
        reference = about.pop("$ref")
        about["anyOf"] = [{"$ref": reference}, named]


def _units(about: dict) -> str:
    """What the type itself says about its units or limits."""
    for option in (about, *about.get("anyOf", ())):
        text = option.get("description", "")
        if text:
            return f" {text[0].upper()}{text[1:]}."
    return ""
