"""YAML to plain data with places. The only code that knows YAML.

Nothing of YAML's object machinery is used: events become mappings, lists and scalars, and a
bare word means what :mod:`loambrief.case.scalars` says. Tags, merge keys, repeated keys and
a second document are refused. Size, depth and the number of values (each repeat of an alias
counted in full) are limited, so hostile files cost bounded time and memory.
"""

import os
import re
import stat
from collections.abc import Iterator
from pathlib import Path

import yaml

from loambrief.case.problems import DataPath, Fault, Problem, in_file_order
from loambrief.case.scalars import NotFinite, resolve
from loambrief.case.source import Mark, SourceText, problem_at, short, split_lines
from loambrief.case.syntax import explain, true_cause
from loambrief.errors import CaseProblems

MAX_BYTES = 1024 * 1024
MAX_DEPTH = 24
MAX_VALUES = 50_000
MAX_FAULTS = 1000
"""Faults of the reader itself after which it stops reading."""

UNWANTED = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff"
    "\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)
"""Control characters, other line breaks, invisible direction marks, surrogates."""

EXACT = yaml.SafeLoader
QUICK = getattr(yaml, "CSafeLoader", EXACT)
"""Parsers: both say the same of what both accept, but for :data:`ODD`. The quick one also takes a
question mark at the end of a text in braces, as people type it; the exact one does not."""
ODD = re.compile(r"\t|:\s+,")
"""What goes to the exact parser: the quick one lets tabs pass, and marks a value that is left out
before a comma one column too far right."""

TOP: DataPath = ()
KINDS = ((b"%PDF-", "a PDF file"), (b"PK\x03\x04", "a spreadsheet, document or ZIP file"),
         (b"\xd0\xcf\x11\xe0", "an office document"), (b"{\\rtf", "a formatted document (RTF)"),
         (b"\x89PNG", "a picture"), (b"\xff\xd8\xff", "a picture"), (b"\x1f\x8b", "a packed file"))
"""Files that are no text, by their first bytes."""


def read_bytes(path: Path, most: int = MAX_BYTES) -> bytes:
    """Content of a regular file, or of one that a link leads to, of at most ``most`` bytes.

    Raises
    ------
    CaseProblems
        Not a regular file, or too large (found out before it is read).
    OSError
        No such file, or no right to read it.
    """
    name = str(path)
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                     | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0))
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            kind = "a folder" if stat.S_ISDIR(about.st_mode) else "a pipe, socket or device"
            raise _file_problem(name, "CASE001", kind, "a regular file",
                                "Name the file itself; a folder of cases goes to loambrief batch."
                                if kind == "a folder" else "Name the file itself.")
        if about.st_size > most:
            raise _too_large(name, about.st_size, most)
        with os.fdopen(os.dup(handle), "rb") as stream:
            raw = stream.read(most + 1)
        if len(raw) > most:
            raise _too_large(name, len(raw), most)
        return raw
    finally:
        os.close(handle)


def _file_problem(file: str, code: str, found: str, wanted: str, help: str) -> CaseProblems:
    return CaseProblems((Problem(file, 0, 0, code, "file", found, wanted, help=help),))


def _too_large(file: str, size: int, most: int) -> CaseProblems:
    return _file_problem(file, "CASE002", f"a file of {size:,} bytes or more",
                         f"at most {most:,} bytes",
                         "A case is a few pages of text; is this the right file?")


def decode(raw: bytes, file: str) -> str:
    """UTF-8 text, with or without byte-order mark.

    Raises
    ------
    CaseProblems
        Another encoding, or characters that no case needs.
    """
    for start, kind in KINDS:
        if raw.startswith(start):
            raise _file_problem(file, "CASE003", kind, "plain text in UTF-8",
                                "Is this the right file? A case is text: loambrief new case.yaml "
                                "writes one to start from.")
    head = raw[:400]
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")) or head.count(0) * 3 > len(head) > 8:
        raise _file_problem(file, "CASE003", "UTF-16 text", "UTF-8 text",
                            "Save the file again with encoding UTF-8.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        data, at = error.object, error.start
        before = data[:at].decode("utf-8")
        lines = split_lines(before + data[at : at + 200].decode("latin-1"))
        letter = chr(data[at])
        help = "Save the file again with encoding UTF-8."
        if letter.isprintable():
            help = f"In Latin-1 that byte is {letter!r}. {help}"
        fault = Fault("CASE003", TOP, f"byte 0x{data[at]:02X}", "UTF-8 text", help)
        raise CaseProblems((problem_at(file, lines, _mark_after(before), fault, "file"),)) from None
    unwanted = []
    for match in UNWANTED.finditer(text):
        fault = Fault("CASE004", TOP, f"character U+{ord(match[0]):04X}", "plain text",
                      "Delete the character; it is invisible in most editors.")
        unwanted.append((_mark_after(text[: match.start()]), fault))
        if len(unwanted) == 20:
            break
    if unwanted:
        lines = split_lines(text)
        raise CaseProblems(
            tuple(problem_at(file, lines, place, fault, "file") for place, fault in unwanted)
        )
    return text


def _mark_after(before: str) -> Mark:
    lines = split_lines(before)
    return Mark(len(lines), len(lines[-1]) + 1)


def read_text(text: str, file: str) -> tuple[SourceText, list[Problem]]:
    """Data of YAML text, and the problems that leave the rest of it readable.

    The text is free of control characters (see :func:`decode`). Values with a problem are left
    out of the data.

    Raises
    ------
    CaseProblems
        Not well-formed, empty, too deep or too many values.
    """
    try:
        source, problems = _Builder(text, file, EXACT if ODD.search(text) else QUICK).build()
    except _Again:
        source, problems = _Builder(text, file, EXACT).build()
    data = source.data
    if not isinstance(data, dict):
        found = "an empty file" if data is None else "text without keys"
        found = f"a list of {len(data)}" if isinstance(data, list) else found
        fault = Fault("CASE015", TOP, found, "keys such as case, field and samples",
                      "Start from a starter case: loambrief new case.yaml")
        raise CaseProblems(in_file_order([*problems, source.problem(fault)]))
    return source, problems


class _Again(Exception):
    """The quick parser refuses the text; the exact one has words for why."""


class _GivenUp(Exception):
    """A fault after which reading makes no sense."""

    def __init__(self, fault: Fault, mark: Mark):
        super().__init__(fault, mark)
        self.fault, self.mark = fault, mark


def _given_up(event: yaml.Event, code: str, found: str, wanted: str, help: str = "") -> _GivenUp:
    return _GivenUp(Fault(code, TOP, found, wanted, help), _mark(event))


REFUSED = object()
"""Stands for a value that is left out because it was reported."""


class _Builder:
    """Turns YAML events into data; depth is limited, so recursion is safe.

    ``keep`` is False inside a value that will be dropped (the second of two equal keys):
    no places are kept for it and nothing is said about its content.
    """

    def __init__(self, text: str, file: str, parser: type):
        self.text, self.file, self.parser = text, file, parser
        self.keys: dict[DataPath, Mark] = {}
        self.values: dict[DataPath, Mark] = {}
        self.refused: set[DataPath] = set()
        self.faults: list[tuple[Fault, Mark]] = []
        self.count = 0
        self.anchors: dict[str, tuple[object, int, int] | None] = {}
        self.unused: dict[str, tuple[yaml.NodeEvent, DataPath]] = {}
        """Anchors of single values that no alias has named: most are text with a "&"."""
        self.last: yaml.Event | None = None
        self.events: Iterator[yaml.Event] = iter(())

    def build(self) -> tuple[SourceText, list[Problem]]:
        data: object = None
        stop: _GivenUp | None = None
        try:
            self.events = self._watched(yaml.parse(self.text, Loader=self.parser))
            data = self._document()
            for name, (event, path) in self.unused.items():
                self._fault(event, path, True, "CASE012", f"&{short(name)}, an anchor nobody uses",
                            "a value", "If it is text that starts with '&', put it in quotes.")
                self.refused.add(path)
        except _GivenUp as error:
            stop = error
        except (yaml.YAMLError, ValueError, OverflowError) as error:
            if self.parser is not EXACT:
                raise _Again from None
            stop = self._syntax(error) if isinstance(error, yaml.MarkedYAMLError) else _GivenUp(
                Fault("CASE005", TOP, "an escape or a directive that cannot be read",
                      "plain text", "Remove the backslash or the line with '%'."),
                _mark(self.last))  # \U00110000 and the like
        source = SourceText(self.file, self.text, data, self.keys, self.values,
                        frozenset(self.refused))
        problems = [
            problem_at(self.file, source.lines, mark, fault, source.label(fault.path))
            for fault, mark in self.faults
        ]
        if stop:
            last = problem_at(self.file, source.lines, stop.mark, stop.fault, "file")
            raise CaseProblems(in_file_order([*problems, last]))
        return source, problems

    def _watched(self, events: Iterator[yaml.Event]) -> Iterator[yaml.Event]:
        for event in events:
            self.last = event
            yield event

    def _syntax(self, error: yaml.MarkedYAMLError) -> _GivenUp:
        opened = error.context_mark.line + 1 if error.context_mark else None
        place = error.problem_mark or error.context_mark
        if error.context == "while scanning a simple key":
            place = error.context_mark  # the line that lacks its ':', not the next one
        if (error.problem or "").startswith("found unexpected end of stream"):
            place = error.context_mark or place  # the quote that was never closed
        mark = Mark(place.line + 1, place.column + 1) if place else _mark(self.last)
        fault = true_cause(error.problem or "", split_lines(self.text), mark.line - 1,
                           opened - 1 if opened else None)
        return _GivenUp(fault or explain(error.problem or "", error.context or "", opened), mark)

    def _document(self) -> object:
        data: object = None
        documents = 0
        for event in self.events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise _given_up(event, "CASE006", "a second document", "one case in a file",
                                    "Put the other case in its own file; remove the '---'.")
            elif not isinstance(
                event, yaml.StreamStartEvent | yaml.StreamEndEvent | yaml.DocumentEndEvent
            ):
                data, _ = self._value(event, TOP, 0, keep=True)
        return None if data is REFUSED else data

    def _fault(self, event: yaml.Event, path: DataPath, keep: bool, code: str, found: str,
               wanted: str, help: str) -> None:
        if not keep:
            return
        if len(self.faults) >= MAX_FAULTS:
            raise _given_up(event, "CASE019", f"{MAX_FAULTS} problems up to here", "a case file")
        self.faults.append((Fault(code, path, found, wanted, help), _mark(event)))

    def _too_deep(self, event: yaml.Event) -> _GivenUp:
        return _given_up(event, "CASE007", f"more than {MAX_DEPTH} levels of nesting",
                         f"at most {MAX_DEPTH}", "No part of a case is nested so deep.")

    def _count(self, number: int, event: yaml.Event) -> None:
        self.count += number
        if self.count > MAX_VALUES:
            raise _given_up(event, "CASE008", f"more than {MAX_VALUES:,} values",
                            f"at most {MAX_VALUES:,}", "Repeats by alias count in full.")

    def _value(
        self, event: yaml.Event, path: DataPath, depth: int, keep: bool
    ) -> tuple[object, int]:
        """A value and how many levels it has below itself."""
        if keep:
            self.values[path] = _mark(event)
        self._count(1, event)
        if isinstance(event, yaml.AliasEvent):
            value, below = self._alias(event, depth)
            if value is REFUSED:
                self.refused.add(path)
            return value, below
        before = self.count
        assert isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent)
        self._open_anchor(event)
        if event.anchor is not None and keep and isinstance(event, yaml.ScalarEvent):
            self.unused[event.anchor] = event, path
        if isinstance(event, yaml.ScalarEvent):
            value, below = self._scalar(event, path, keep), 0
        elif depth >= MAX_DEPTH:
            raise self._too_deep(event)
        elif isinstance(event, yaml.SequenceStartEvent):
            value, below = self._sequence(path, depth, keep)
        else:
            value, below = self._mapping(path, depth, keep)
        if event.tag is not None:
            self._fault(event, path, keep, "CASE009", f"the tag {event.tag[:60]!r}",
                        "a value without tag",
                        "Remove the tag; quote the value if it must stay text.")
            value = REFUSED
        if value is REFUSED:
            self.refused.add(path)
        if event.anchor is not None:
            self.anchors[event.anchor] = (value, self.count - before + 1, below)
        return value, below

    def _open_anchor(self, event: yaml.NodeEvent) -> None:
        if event.anchor is None:
            return
        if event.anchor in self.anchors:
            raise _given_up(event, "CASE012", f"anchor &{short(event.anchor)} a second time",
                            "each anchor once")
        self.anchors[event.anchor] = None

    def _alias(self, event: yaml.AliasEvent, depth: int) -> tuple[object, int]:
        name = event.anchor or ""
        self.unused.pop(name, None)
        known = self.anchors.get(name)
        if known is None:
            where = "inside its own anchor" if name in self.anchors else "without its anchor"
            raise _given_up(event, "CASE012", f"alias *{short(name)} {where}",
                            "an alias of an earlier, finished value",
                            "If it is text that starts with '*', put it in quotes.")
        value, size, below = known
        self._count(size, event)
        if depth + below > MAX_DEPTH:
            raise self._too_deep(event)
        return value, below

    def _scalar(self, event: yaml.ScalarEvent, path: DataPath, keep: bool) -> object:
        unwanted = UNWANTED.search(event.value)
        if unwanted:
            self._fault(event, path, keep, "CASE004",
                        f"character U+{ord(unwanted[0]):04X} as an escape", "plain text",
                        "Remove the escape.")
            return REFUSED
        if not event.implicit[0]:
            return event.value
        try:
            return resolve(event.value)
        except NotFinite:
            self._fault(event, path, keep, "CASE014", repr(event.value[:60]), "a finite number",
                        "Leave the line out if there is no value; quote it if it is text.")
            return REFUSED

    def _sequence(self, path: DataPath, depth: int, keep: bool) -> tuple[list, int]:
        items: list[object] = []
        deepest = 0
        for event in self.events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            value, below = self._value(event, (*path, len(items)), depth + 1, keep)
            items.append(None if value is REFUSED else value)
            deepest = max(deepest, below + 1)
        return items, deepest

    def _mapping(self, path: DataPath, depth: int, keep: bool) -> tuple[dict, int]:
        items: dict[str, object] = {}
        seen: dict[str, Mark] = {}
        deepest = 0
        for event in self.events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            key = self._key(event, path, depth, keep)
            repeated = key in seen
            if key is not None and repeated:
                self._fault(event, (*path, key), keep, "CASE010",
                            f"the key {short(key)!r} a second time", "each key once",
                            f"It first stands in line {seen[key].line}.")
            elif key is not None:
                seen[key] = _mark(event)
                if keep:
                    self.keys[(*path, key)] = _mark(event)
            value, below = self._value(next(self.events), (*path, key or ""), depth + 1,
                                       keep and key is not None and not repeated)
            if key is not None and not repeated and value is not REFUSED:
                items[key] = value
            deepest = max(deepest, below + 1)
        return items, deepest

    def _key(self, event: yaml.Event, path: DataPath, depth: int, keep: bool) -> str | None:
        """Text of a key, or None if it was refused (its value is then dropped)."""
        self._count(1, event)
        if isinstance(event, yaml.ScalarEvent) and event.tag is None and event.anchor is None:
            if event.value == "<<" and event.implicit[0]:
                self._fault(event, path, keep, "CASE011", "the merge key '<<'",
                            "every key written out", "Copy the keys here.")
                return None
            if not UNWANTED.search(event.value):
                return event.value
        self._fault(event, path, keep, "CASE013", "a key that is not plain text", "key: value",
                    "Text such as {a: b}, [a] or *a needs quotes.")
        if isinstance(event, yaml.AliasEvent):
            return None
        assert isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent)
        self._open_anchor(event)
        if not isinstance(event, yaml.ScalarEvent):
            if depth + 1 >= MAX_DEPTH:
                raise self._too_deep(event)
            inner = self._sequence if isinstance(event, yaml.SequenceStartEvent) else self._mapping
            inner((*path, ""), depth + 1, keep=False)
        return None


def read_sound(raw: bytes, file: str) -> SourceText:
    """Data of a file without any problem; CaseProblems with all of them otherwise."""
    source, problems = read_text(decode(raw, file), file)
    if problems:
        raise CaseProblems(in_file_order(problems))
    return source


def _mark(event: yaml.Event | None) -> Mark:
    if event is None:  # nothing was read yet
        return Mark(1, 1)
    start = event.start_mark
    assert start is not None  # the parser marks every event
    return Mark(start.line + 1, start.column + 1)
