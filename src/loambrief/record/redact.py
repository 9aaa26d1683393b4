"""A copy that can be shown to a dealer, lender or neighbour: no names, places, landmarks.

The frozen case is changed and the advisory made again from it, so that page, data and
attachments say the same; earlier cases it rests on likewise. Three steps, each catching what
the one before missed:

1. Parts that name people, places and landmarks are replaced or left out (:data:`REPLACED`,
   :data:`DROPPED`, :data:`PLACES`, :data:`PROSE`); of where the field is, the state remains,
   which decides what guides and rules hold.
2. In every text that remains, the replaced names, the user's own list of words, addresses,
   telephone numbers and coordinates are struck.
3. The finished files are searched for every one of them: pages, document information,
   attachments, alternatives for readers, and the data (:func:`strings_of`). One that is still
   there stops the copy.

Of the adviser the kind of credential and the interest remain, of laboratories and suppliers
nothing but whether two are the same; who signed is in the original, which the copy's number
names. Crop, soil, readings and prices stay, so who knows the field may still recognise it. A text
that stays (what a yield goal rests on, a product's name) may hold a landmark that no list
knows: the preview shows each of them before a copy is made.
"""

import json
import posixpath
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path
from typing import Any

from pypdf.errors import PdfReadError
from pypdf.generic import StreamObject, TextStringObject

from loambrief import pipeline
from loambrief.archive.index import fold
from loambrief.archive.store import Store
from loambrief.case.boundary import shapes
from loambrief.case.load import load_bytes
from loambrief.case.profiles import GUIDE_ENDS, resolve
from loambrief.case.reader import read_text
from loambrief.case.source import SourceText
from loambrief.errors import RecordRefused
from loambrief.findings.model import say
from loambrief.record.cards import record
from loambrief.record.freeze import Frozen, thawed
from loambrief.record.issue import file_stem
from loambrief.record.rerender import form_of, frozen_words
from loambrief.report.blocks import DocumentStatus
from loambrief.report.own_words import with_own_words
from loambrief.report.text import Writer
from loambrief.tables import load
from loambrief.tables.regions import REGIONS, named

REPLACED = {
    ("client", "name"): "client", ("farm", "name"): "farm", ("field", "name"): "field",
    ("farm", "location"): "place", ("adviser", "name"): "adviser",
}
"""Place in the case -> word that is printed instead."""
DROPPED = (
    ("client", "contact"), ("client", "address"), ("client", "phone"), ("client", "email"),
    ("field", "id"), ("field", "soil_map_unit"), ("boundary",), ("notes",), ("accept",),
    ("case", "purpose"), ("case", "answer"), ("budget", "note"), ("history",), ("photos",),
    ("client", "brand"), ("adviser", "business"), ("adviser", "brand"), ("adviser", "address"),
    ("adviser", "phone"), ("adviser", "email"),
    ("penetrometer", "notes"), ("strips", "where"),
)
"""Left out."""
DROPPED_IN_LISTS = {
    "samples": ("sampler", "lab.report", "lab.file", "lab.file_sha256", "lab.pdf"),
    "materials": ("supplier",), "earlier_applications": ("note",),
    "zones": ("boundary",), "done": ("note",),
}
PLACES = frozenset({"place", "where"})
"""Keys of places within the field: each other text becomes a number, the same for the same."""
PROSE = frozenset({"reason", "not_done", "sensitive_areas", "source"})
"""Keys of texts that must stand but may tell the place: a fixed word takes their place."""
IDS = frozenset({"id", "of"})
LISTED_TEXTS = frozenset({
    "adviser", "guide", "lime_table", "loambrief", "methods", "per", "kind", "form", "units",
    "paper",
    "language", "question", "role", "line", "identification", "fizz", "texture", "residue",
    "tillage", "irrigation", "drainage", "moisture", "id", "does", "animal", "cone",
    "pressure_unit", "depth_unit", "species", "eppo", "crop", "previous_crop", "following_crop"})
"""Keys of texts that a preview leaves out: the format lists what they may be."""
_PHONE = re.compile(
    r"(?<![\w.,/-])(?:\+\d{1,3}(?:[ .-]?\(?\d{2,4}\)?){2,5}"
    r"|\(\d{2,4}\) ?\d{3}[ .-]?\d{4}|(?:\d{3}[-.])?\d{3}[-.]\d{4})(?![\w-])")
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
    """A redacted copy."""

    files: Mapping[str, bytes] = field(repr=False)
    seq: int
    head: str
    """``seq``, ``head``: of its line in the log."""


@dataclass(frozen=True)
class Preview:
    """What a redacted copy would do."""

    struck: tuple[str, ...]
    """Names and words that are struck wherever they stand."""
    stays: tuple[tuple[str, str], ...]
    """Texts that would stay, with their places in the case."""


def preview(number: str, store: Store, revision: int | None = None,
            words: Sequence[str] = ()) -> Preview:
    """What would be struck from a copy and which texts would stay; nothing is made or noted."""
    found = record(store, number, revision)
    with thawed(store, found["card"]["files"]) as (loaded, home):
        case = loaded.case.case
        writer = Writer.of(case)
        raw, names = _strike_all(loaded.source_text, home, "copy", writer, words)
        return Preview(tuple(sorted(names, key=str.casefold)),
                       tuple(_texts(json.loads(raw))))


def _texts(value: object, at: str = "") -> Iterator[tuple[str, str]]:
    """Texts of some length in a case, but for what the format itself lists."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in LISTED_TEXTS:
                yield from _texts(inner, f"{at}.{key}".lstrip("."))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _texts(inner, f"{at}[{i}]")
    elif isinstance(value, str) and re.match(r"[^\W\d].*[^\W\d_]{3}", value):
        yield at, value


def redact(number: str, store: Store, revision: int | None = None,
           words: Sequence[str] = ()) -> Redacted:
    """Make a redacted copy of an issued advisory and note it in the log.

    Parameters
    ----------
    revision : int or None
        None: the latest.
    words : sequence of str
        The user's own list of words to strike beside the names of the case.

    Raises
    ------
    RecordRefused
        A name or word is in the copy still.
    UnknownName, ArchiveBroken, CaseProblems
    """
    with store.writing():
        found = record(store, number, revision)
        card, revision = found["card"], found["revision"]
        name = f"{file_stem(number, revision)}-redacted"
        with thawed(store, card["files"]) as (loaded, home), with_own_words(
                frozen_words(store, card)):
            case = loaded.case.case
            writer = Writer.of(case)
            raw, names = _strike_all(loaded.source_text, home, name.lower(), writer, words)
            advice = pipeline.advise(load_bytes(raw, "case.yaml", folder=home))
            # accepted warnings quote the case
            advice = replace(advice, loaded=replace(advice.loaded, accepted=(), warnings=()))
            made = pipeline.render(advice, status=DocumentStatus.REDACTED, number=number,
                                   revision=revision, files=form_of(card), stem=name)
        files = made.files(name)
        phones = _phones(loaded.source_text, home)
        for file, content in files.items():
            must_be_clean(names, phones, file, content)
        for kept in advice.loaded.files:
            must_be_clean(names, phones, kept.name, kept.text.encode())
        listed = [Frozen("redacted", file, content, stored=False).as_json()
                  for file, content in files.items()]
        line = store.commit(
            "redact", {"number": number, "revision": revision, "client": found["client"]},
            {"client": card["client"], "files": listed})
        return Redacted(files, line.seq, line.digest)


def _phones(text: str, home: Path) -> frozenset[str]:
    """Digits of telephone numbers of client and adviser, without prefix."""
    data = _plain(resolve(read_text(text, "case.yaml")[0], home).source)
    found = (re.sub(r"\D", "", str((data.get(who) or {}).get("phone") or ""))
             for who in ("client", "adviser"))
    return frozenset(digits[-7:] for digits in found if len(digits) >= 7)


def _strike_all(text: str, home: Path, case_id: str, writer: Writer,
                words: Sequence[str] = ()) -> tuple[bytes, frozenset[str]]:
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
    names |= {" ".join(word.split()) for word in words if word.strip()}
    later: list[str] = []
    for i, (source, guide) in enumerate(read[1:], 1):
        later.append(f"earlier-{i}.yaml")
        (home / later[-1]).write_bytes(redacted_case(source, f"{case_id}-earlier-{i}", names,
                                                     writer, guide))
    return redacted_case(read[0][0], case_id, names, writer, read[0][1], later), names


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
    own = dict(data.get("adviser") or {})
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
    _own_entries(data, word("text"), str(own.get("name", "")), word("adviser"))
    _signer_and_laboratories(data, writer)
    _only_state(data)
    data = _placed(data, writer, _ids(data), {})
    pattern = _pattern(names)
    data = {key: _struck(value, pattern, word("text")) for key, value in data.items()}
    data["case"]["id"] = case_id
    if guide is not None:
        data["guide"] = json.loads(json.dumps(guide, default=_typed))
    if history:
        data["history"] = list(history)
    return json.dumps(data, ensure_ascii=False, indent=1).encode("utf-8")


def _signer_and_laboratories(data: dict, writer: Writer) -> None:
    """The number of the adviser's credential, and names of laboratories: one name, one number."""
    credential = (data.get("adviser") or {}).get("credential")
    if isinstance(credential, dict):
        credential["number"] = writer.write(say("record.redacted_text"))
    known: dict[str, str] = {}
    for sample in data.get("samples") or ():
        lab = sample.get("lab")
        if isinstance(lab, dict) and "name" in lab:
            name = fold(str(lab["name"]))
            lab["name"] = known.setdefault(name, writer.write(
                say("record.redacted_laboratory", number=len(known) + 1)))


def _own_entries(data: dict, withheld: str, adviser: str, signer: str) -> None:
    """Who set nitrogen, names of machines, and what is waited for; the adviser is ``signer``.

    These names are not struck elsewhere: "the grower" and "drop spreader" are common words.
    """
    line = data.get("nitrogen")
    if isinstance(line, dict):
        same = str(line.get("set_by", "")).casefold() == adviser.casefold()
        line["set_by"] = signer if same else withheld
    for machine in (data.get("constraints") or {}).get("spreaders") or ():
        machine["name"] = withheld
    for change in data.get("plan_changes") or ():
        if "condition" in change:
            change["condition"] = withheld


def _only_state(data: dict) -> None:
    """Of place and rules the state remains, where one is named; it decides what holds there."""
    farm, case = data.get("farm") or {}, data.get("case") or {}
    states = [str(row["region"]) for row in load(REGIONS)]
    for part, key in ((farm, "region"), (case, "jurisdiction")):
        here = named((part.get(key),), states)
        if here:
            country = ", USA" if key == "jurisdiction" and "USA" in str(part[key]) else ""
            part[key] = f"{', '.join(here)}{country}"


def _ids(value: object) -> frozenset[str]:
    """Ids of parts of a case: a place may be named by one, and then it stays."""
    if isinstance(value, dict):
        own = {str(value[k]).casefold() for k in IDS if isinstance(value.get(k), str)}
        return frozenset(own).union(*map(_ids, value.values()))
    if isinstance(value, list):
        return frozenset().union(*map(_ids, value))
    return frozenset()


def _placed(value: Any, writer: Writer, ids: frozenset[str], known: dict[str, str],
            key: str = "") -> Any:
    """The same with numbers for places and a fixed word for prose."""
    if isinstance(value, dict):
        return {k: _placed(inner, writer, ids, known, k) for k, inner in value.items()}
    if isinstance(value, list):
        return [_placed(inner, writer, ids, known, key) for inner in value]
    if not isinstance(value, str) or value.casefold() in ids:
        return value
    if key in PLACES:
        name = " ".join(value.casefold().split())
        if name not in known:
            known[name] = writer.write(say("record.redacted_spot", number=len(known) + 1))
        return known[name]
    return writer.write(say("record.redacted_text")) if key in PROSE else value


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
    samples = [s for s in data.get("samples") or () if isinstance(s, dict)]
    whole += [s.get("sampler") for s in samples]
    whole += [s["lab"].get("name") for s in samples if isinstance(s.get("lab"), dict)]
    whole += [m.get("supplier") for m in data.get("materials") or () if isinstance(m, dict)]
    adviser = data.get("adviser") or {}
    whole += [adviser.get(k) for k in ("name", "business", "address", "phone", "email")]
    whole += [(adviser.get("credential") or {}).get("number")]
    for text in (str(t).strip() for t in whole if t):
        if len(text) >= 3:
            yield text
    for name in (client.get("name"), client.get("contact"), farm.get("name"), adviser.get("name")):
        for piece in re.findall(r"\w+", str(name or "")):
            if len(piece) >= 4 and not piece.isdigit() and piece.casefold() not in _COMMON:
                yield piece


def _pattern(names: Iterable[str]) -> re.Pattern:
    ordered = sorted(map(re.escape, names), key=lambda n: (-len(n), n))
    return re.compile(r"(?<!\w)(?:" + "|".join(ordered or ["(?!)"]) + r")(?!\w)", re.IGNORECASE)


def _struck(value: object, pattern: re.Pattern, word: str) -> object:
    if isinstance(value, str):
        for found in (pattern, _EMAIL, _COORDINATES, _PHONE):
            value = found.sub(word, value)
        return value
    if isinstance(value, list):
        return [_struck(inner, pattern, word) for inner in value]
    if isinstance(value, dict):
        return {key: _struck(inner, pattern, word) for key, inner in value.items()}
    return value


def must_be_clean(names: frozenset[str], phones: frozenset[str], name: str,
                  content: bytes) -> None:
    """Raise RecordRefused if a finished file holds what was to be struck, and say where.

    Parameters
    ----------
    names : set of str
        Compared without case and accents, over line breaks.
    phones : set of str
        Digits.
    """
    pattern = _pattern(map(fold, names))
    for where, text in strings_of(name, content):
        plain = fold(text)
        left = sorted({m.group(0) for m in pattern.finditer(plain)})
        bare = re.sub(r"[ ().+-]", "", text)
        if left:
            said = ", ".join(repr(n) for n in left[:3])
        elif any(digits in bare for digits in phones):
            said = "a telephone number"
        elif not where.startswith("page") and _EMAIL.search(text):
            said = "an e-mail address"
        else:
            continue
        raise RecordRefused(f"the copy still holds {said} ({where} of {name}); it was not made")


def strings_of(name: str, content: bytes) -> Iterator[tuple[str, str]]:
    """Every text of a file, with where it stands.

    Of a PDF: pages, bookmarks, document information, metadata, alternative texts of the
    structure, names, descriptions and contents of attachments.
    """
    if not name.endswith(".pdf"):
        yield "text", content.decode("utf-8", "replace")
        return
    from pypdf import PdfReader

    reader = PdfReader(BytesIO(content))
    for number, page in enumerate(reader.pages, 1):
        yield f"page {number}", page.extract_text()
    for file, contents in reader.attachments.items():
        yield "attachments", file
        for one in contents:
            yield "attachments", one.decode("utf-8", "replace")
    for number in range(1, int(str(reader.trailer["/Size"]))):
        try:
            found = reader.get_object(number)
        except PdfReadError:  # a number that is free
            continue
        yield from (("objects", text) for text in _strings(found))
        if isinstance(found, StreamObject) and found.get("/Type") == "/Metadata":
            yield "metadata", found.get_data().decode("utf-8", "replace")
    yield from (("document information", str(value)) for value in (reader.metadata or {}).values())


def _strings(value: object) -> Iterator[str]:
    """Texts directly in an object; what it refers to has its own number."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from _strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(inner)
    elif isinstance(value, TextStringObject):
        yield str(value)
