"""A copy that can be shown to a dealer, lender or neighbour: no names, places, coordinates.

The frozen case is changed and the advisory made again from it, so that page, data and
attachments say the same; earlier cases it rests on likewise. Three steps, each catching what
the one before missed:

1. Parts that name people and places are replaced or left out (:data:`REPLACED`,
   :data:`DROPPED`); free notes are left out.
2. In every text that remains, the replaced names, addresses, telephone numbers and
   coordinates are struck.
3. The finished data and the attached case are searched for every name; one that is still
   there stops the copy.

The adviser stays, but for the address: who signs for advice is not hidden. Crop, soil,
readings and prices stay, so who knows the field may still recognise it.
"""

from __future__ import annotations

import json
import posixpath
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from loambrief import pipeline
from loambrief.archive.store import Store
from loambrief.case.boundary import shapes
from loambrief.case.load import load_bytes
from loambrief.case.profiles import GUIDE_ENDS, resolve
from loambrief.case.reader import read_text
from loambrief.case.source import SourceText
from loambrief.errors import RecordRefused
from loambrief.findings.model import say
from loambrief.pipeline import Advice
from loambrief.record.cards import record
from loambrief.record.freeze import Frozen, thawed
from loambrief.record.issue import file_stem
from loambrief.record.rerender import form_of, frozen_words
from loambrief.report.blocks import DocumentStatus
from loambrief.report.own_words import with_own_words
from loambrief.report.text import Writer

REPLACED = {
    ("client", "name"): "client", ("farm", "name"): "farm", ("field", "name"): "field",
    ("farm", "location"): "place",
}
"""Place in the case -> word that is printed instead."""
DROPPED = (
    ("client", "contact"), ("client", "address"), ("client", "phone"), ("client", "email"),
    ("field", "id"), ("field", "soil_map_unit"), ("boundary",), ("notes",), ("accept",),
    ("case", "purpose"), ("budget", "note"), ("history",), ("photos",), ("client", "brand"),
    ("strips", "where"),
)
"""Left out."""
DROPPED_IN_LISTS = {
    "samples": ("sampler", "lab.report", "lab.file", "lab.file_sha256"),
    "materials": ("supplier",), "earlier_applications": ("note",), "zones": ("boundary",),
}
_COORDINATES = re.compile(
    r"[-+]?\d{1,3}\.\d{3,}\s*°?\s*[NSEWO]?\s*[,;/ ]\s*[-+]?\d{1,3}\.\d{3,}\s*°?\s*[NSEWO]?"
    r"|\d{1,3}\s*°\s*\d{1,2}\s*['′](?:\s*\d{1,2}(?:\.\d+)?\s*[\"″])?\s*[NSEWO]?", re.IGNORECASE)
_EMAIL = re.compile(r"[\w.+-]+@[\w-]+\.[\w.-]+")

_COMMON = frozenset((
    "and", "the", "for", "with", "from", "farm", "farms", "field", "fields", "ranch", "grain",
    "dairy", "sons", "daughters", "brothers", "family", "home", "place", "land", "acres",
    "company", "partners", "north", "south", "east", "west", "upper", "lower", "old", "new",
    "hill", "hills", "creek", "river", "road", "valley", "section", "township", "county",
    "state", "block", "finca", "rancho", "lote", "campo", "norte", "sur", "este", "oeste",
    "hermanos", "hijos", "hijas", "familia", "los", "las", "del",
))
"""Words of names that also mean something else; alone they are not struck."""


@dataclass(frozen=True)
class Redacted:
    """A redacted copy.

    Attributes
    ----------
    seq, head : int, str
        Of its line in the log.
    """

    files: Mapping[str, bytes] = field(repr=False)
    seq: int
    head: str


def redact(number: str, store: Store, revision: int | None = None) -> Redacted:
    """Make a redacted copy of an issued advisory and note it in the log.

    Parameters
    ----------
    revision : int or None
        None: the latest.

    Raises
    ------
    RecordRefused
        A name is in the copy still.
    UnknownName, ArchiveBroken, CaseProblems
    """
    with store.writing():
        found = record(store, number, revision)
        card, revision = found["card"], found["revision"]
        name = f"{file_stem(number, revision)}-redacted"
        with thawed(store, card["files"]) as (loaded, home), with_own_words(
                frozen_words(store, card)):
            case = loaded.case.case
            writer = Writer(case.language, case.units, case.currency)
            raw, names = _strike_all(loaded.source_text, home, name.lower(), writer)
            advice = pipeline.advise(load_bytes(raw, "case.yaml", folder=home))
            advice = _without_lines(advice)
            made = pipeline.render(advice, status=DocumentStatus.REDACTED, number=number,
                                   revision=revision, files=form_of(card), stem=name)
        _must_be_clean(names, (raw, made.data, *(f"{f.name}\n{f.text}".encode()
                                                 for f in advice.loaded.files)))
        files = made.files(name)
        listed = [Frozen("redacted", file, content, stored=False).as_json()
                  for file, content in files.items()]
        line = store.commit(
            "redact", {"number": number, "revision": revision, "client": found["client"]},
            {"client": card["client"], "files": listed})
        return Redacted(files, line.seq, line.digest)


def _strike_all(text: str, home: Path, case_id: str, writer: Writer) -> tuple[
        bytes, frozenset[str]]:
    """The redacted case; the earlier cases it names are struck as well, under other names."""
    cases = [("", text, home)]
    own = _plain(read_text(text, "case.yaml")[0])
    for name in map(str, own.get("history") or ()):
        path = home / name
        cases.append((posixpath.dirname(name), path.read_text(encoding="utf-8-sig"), path.parent))
    read = []
    for folder, content, where in cases:
        bare = read_text(content, "case.yaml")[0]
        guide = _plain(bare).get("guide")
        if isinstance(guide, str) and guide.lower().endswith(GUIDE_ENDS):
            guide = posixpath.normpath(posixpath.join(folder, guide))
        read.append((resolve(bare, where).source, guide))
    names = frozenset(name for source, _ in read for name in names_in(source))
    later: list[str] = []
    for i, (source, guide) in enumerate(read[1:], 1):
        later.append(f"earlier-{i}.yaml")
        (home / later[-1]).write_bytes(redacted_case(source, f"{case_id}-earlier-{i}", names,
                                                     writer, guide))
    return redacted_case(read[0][0], case_id, names, writer, read[0][1], later), names


def _without_lines(advice: Advice) -> Advice:
    """Accepted warnings quote the case; they are left out."""
    return replace(advice, loaded=replace(advice.loaded, accepted=(), warnings=()))


def redacted_case(source: SourceText, case_id: str, names: frozenset[str], writer: Writer,
                  guide: object = None, history: Sequence[str] = ()) -> bytes:
    """A case without names and places.

    Parameters
    ----------
    source : SourceText
        Of the whole case, profiles put in.
    case_id : str
        Takes the place of the case's own.
    names : set of str
        Struck wherever they stand; see :func:`names_in`.
    guide : object
        As the case file itself names its guide.
    history : sequence of str
        Redacted earlier cases.
    """
    def word(name: str) -> str:
        return writer.write(say(f"record.redacted_{name}"))

    data = _plain(source)
    _area_of_shapes(data)
    for path in DROPPED:
        _drop(data, path)
    for part, keys in DROPPED_IN_LISTS.items():
        for entry in data.get(part) or ():
            for key in keys:
                _drop(entry, tuple(key.split(".")))
    for (part, key), name in REPLACED.items():
        if isinstance(data.get(part), dict) and key in data[part]:
            data[part][key] = word(name)
    for neighbour in _neighbours(data):
        neighbour["name"] = word("place")
    for material in data.get("materials") or ():
        if "certifier" in material:  # that it was approved decides what may be used
            material["certifier"] = word("text")
    adviser = data.pop("adviser")
    adviser.pop("address", None)  # it tells the neighbourhood
    pattern = _pattern(names)
    data = {key: _struck(value, pattern, word("text")) for key, value in data.items()}
    data["adviser"] = adviser
    data["case"]["id"] = case_id
    if guide is not None:
        data["guide"] = json.loads(json.dumps(guide, default=_typed))
    if history:
        data["history"] = list(history)
    return json.dumps(data, ensure_ascii=False, indent=1).encode("utf-8")


def _area_of_shapes(data: dict) -> None:
    """Zones whose area only the boundary tells state it, since the boundary is left out."""
    drawn = {s.sample.lower(): s.area_ac for s in shapes(data.get("boundary")) if s.sample}
    for sample in data.get("samples") or ():
        acres = drawn.get(str(sample.get("id", "")).lower())
        if acres is not None and not {"area", "share", "repeats"} & set(sample):
            sample["area"] = f"{acres:.6g} ac"


def _neighbours(data: Mapping) -> list[dict]:
    return list((data.get("constraints") or {}).get("neighbours") or ())


def names_in(source: SourceText) -> frozenset[str]:
    """What must not be found in a redacted copy of a case."""
    return frozenset(_names(_plain(source)))


def _plain(source: SourceText) -> dict:
    """Data of a case as JSON has it, quantities as typed."""
    return json.loads(json.dumps(source.data, ensure_ascii=False, default=_typed))


def _typed(value: object) -> object:
    return value.typed if hasattr(value, "typed") else str(value)


def _drop(data: object, path: tuple[str, ...]) -> None:
    for step in path[:-1]:
        data = data.get(step) if isinstance(data, dict) else None
    if isinstance(data, dict):
        data.pop(path[-1], None)


def _names(data: Mapping) -> Iterable[str]:
    """Names and addresses that must not occur, and the telling words of names."""
    client, farm, plot = (data.get(k) or {} for k in ("client", "farm", "field"))
    whole = [client.get(k) for k in ("name", "contact", "address", "phone", "email")]
    whole += [farm.get("name"), farm.get("location"), plot.get("name"), plot.get("id")]
    whole += [(data.get("case") or {}).get("id")]
    whole += [n.get("name") for n in _neighbours(data)]
    whole += [s.get("sampler") for s in data.get("samples") or () if isinstance(s, dict)]
    adviser = str((data.get("adviser") or {}).get("name", "")).casefold()
    for text in (str(t).strip() for t in whole if t):
        if len(text) >= 3 and text.casefold() != adviser:
            yield text
    common = (*_COMMON, adviser)
    for name in (client.get("name"), client.get("contact"), farm.get("name")):
        for piece in re.findall(r"\w+", str(name or "")):
            if len(piece) >= 4 and not piece.isdigit() and piece.casefold() not in common:
                yield piece


def _pattern(names: Iterable[str]) -> re.Pattern:
    ordered = sorted(map(re.escape, names), key=lambda n: (-len(n), n))
    return re.compile(r"(?<!\w)(?:" + "|".join(ordered or ["(?!)"]) + r")(?!\w)", re.IGNORECASE)


def _struck(value: object, pattern: re.Pattern, word: str) -> object:
    if isinstance(value, str):
        for found in (pattern, _EMAIL, _COORDINATES):
            value = found.sub(word, value)
        return value
    if isinstance(value, list):
        return [_struck(inner, pattern, word) for inner in value]
    if isinstance(value, dict):
        return {key: _struck(inner, pattern, word) for key, inner in value.items()}
    return value


def _must_be_clean(names: frozenset[str], contents: Iterable[bytes]) -> None:
    pattern = _pattern(names)
    for content in contents:
        text = content.decode("utf-8", "replace")
        left = {m.group(0) for m in pattern.finditer(text)}
        if left:
            raise RecordRefused("the copy still holds "
                                + ", ".join(repr(n) for n in sorted(left)[:3])
                                + "; it was not made")
        if _EMAIL.search(_without_adviser(text)) is not None:
            raise RecordRefused("the copy still holds an e-mail address; it was not made")


def _without_adviser(text: str) -> str:
    """The case without its adviser, whose addresses stay."""
    try:
        data = json.loads(text)
    except ValueError:
        return ""
    if isinstance(data, dict):
        data.pop("adviser", None)
    return json.dumps(data, ensure_ascii=False)


