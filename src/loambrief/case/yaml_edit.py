"""Edits of a case's text: what is not touched stays byte for byte as the user typed it.

The reader's line and column marks say where a key stands. Its lines alone go through the round
trip of ruamel.yaml, which keeps remarks, order and quotes; all lines around them are put back
as they were. The whole file cannot go through it: it comes out with one indentation for every
list, which changes 16 of 75 of our own cases, one of them in 211 lines. Every edit is read back
and compared with what was meant before anybody sees it. Lists and mappings in ``{ }`` or ``[ ]``
are not edited from inside: the user is asked to write them out.
"""

import io
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import CommentMark, YAMLError
from ruamel.yaml.resolver import VersionedResolver
from ruamel.yaml.scalarstring import DoubleQuotedScalarString
from ruamel.yaml.tokens import CommentToken

from loambrief.case.problems import DataPath, Fault
from loambrief.case.reader import read_sound, read_text
from loambrief.case.scalars import as_written, resolve
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.source import SourceText
from loambrief.case.validate import part_at
from loambrief.errors import CaseProblems

BOM = b"\xef\xbb\xbf"
SAMPLES = "samples"
_LINES = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+\Z")
_SAFE = re.compile(r"[A-Za-z0-9<][A-Za-z0-9 .,_/%()+<-]*\Z")
_REMARK = re.compile(r"(?:^|\s)#\s*(?!lab: )(\S.*)\Z")
_DASH = re.compile(r"(?m)^( *)-( +)\S")
_DEEPER = re.compile(r"(?m)^( *)[^\s#-][^#\n]*:[ ]*(?:#.*)?\n(?:[ ]*(?:#.*)?\n)*\1( +)[^\s#-]")
_WRITE_OUT = "Write the samples out as a list, one key on each line, each entry after '- '."


@dataclass(frozen=True)
class Value:
    """A scalar to write."""

    text: str
    plain: bool = False
    """A number without quotes; other text is quoted where YAML needs it."""
    comment: str = ""
    """Written behind it."""


Tree = Value | Mapping[str, "Tree"] | Sequence["Tree"] | float | None
"""What can be written: :class:`Value` and data as the reader gives it."""


def plain_of(data: object) -> Any:
    """Data or a tree as mappings, lists and text, to compare what was read with what was meant."""
    if isinstance(data, Value):
        return data.text
    if isinstance(data, Mapping):
        return {k: plain_of(v) for k, v in data.items()}
    if isinstance(data, list):
        return [plain_of(v) for v in data]
    if data is None or isinstance(data, bool):
        return {None: "null", True: "true", False: "false"}[data]
    return str(as_written(data))


class _BareWords(VersionedResolver):
    """Takes every bare word as text, so that dates and numbers stay as they were typed."""

    versioned_resolver: Mapping = MappingProxyType({})


def _yaml(like: str = "") -> YAML:
    """The library, set to the indentation of a piece of text; two blanks a level if it has none."""
    yaml = YAML()
    yaml.Resolver = _BareWords
    yaml.preserve_quotes = True
    yaml.width = 1_000_000
    dash, deeper = _DASH.search(like), _DEEPER.search(like)
    offset, behind = (len(dash[1]), len(dash[2])) if dash else (2, 1)
    yaml.indent(mapping=len(deeper[2]) if deeper else 2, sequence=offset + 1 + behind,
                offset=offset)
    return yaml


def _is_number(tree: Tree) -> bool:
    """A number (or null) that may stand in a list in one line."""
    return not isinstance(tree, str | Mapping | list) and not (
        isinstance(tree, Value) and (tree.comment or not tree.plain))


def _node(tree: Tree) -> Any:
    """A tree as the library writes it; rows of numbers in one line."""
    if isinstance(tree, Mapping):
        made = CommentedMap({k: _node(v) for k, v in tree.items()})
        for key, value in tree.items():
            _remark(made, key, value)
        return made
    if isinstance(tree, list):
        row = CommentedSeq(_node(v) for v in tree)
        if all(_is_number(v) for v in tree):
            row.fa.set_flow_style()
        for i, value in enumerate(tree):
            _remark(row, i, value)
        return row
    text = plain_of(tree)
    safe = _SAFE.match(text) and text == text.strip() and isinstance(resolve(text), str)
    return text if safe or _is_number(tree) or (isinstance(tree, Value) and tree.plain) else (
        DoubleQuotedScalarString(text))


def _remark(holder: Any, key: str | int, value: Tree) -> None:
    """Set the remark behind a scalar; lines of remarks below the old one stay."""
    at = 2 if isinstance(holder, CommentedMap) else 0
    tokens = holder.ca.items.pop(key, None) or [None] * 4
    below = tokens[at].value.partition("\n")[2] if tokens[at] else ""
    comment = f" # {value.comment}" if isinstance(value, Value) and value.comment else ""
    if comment or below:
        tokens[at] = CommentToken(comment + (f"\n{below}" if below else ""), CommentMark(0), None)
        holder.ca.items[key] = tokens


def emit(tree: Mapping[str, Tree], indent: int = 0) -> list[str]:
    """Lines of a mapping in block style, two blanks for each level."""
    return _dumped(_yaml(), _node(tree), indent)


def _dumped(yaml: YAML, node: Any, indent: int) -> list[str]:
    out = io.StringIO()
    yaml.dump(node, out)
    lines = out.getvalue().removesuffix("\n").split("\n")
    return [" " * indent + line if line else line for line in lines]


def _put(holder: Any, key: str | int, tree: Tree, remarks: bool = False) -> None:
    """Set an entry; what its old value shares with the new one is left as it is typed.

    ``remarks`` says whether a remark behind an old value stays with the new one.
    """
    old = holder[key] if isinstance(key, int) else holder.get(key)
    block = isinstance(old, CommentedMap | CommentedSeq) and old and not old.fa.flow_style()
    if block and isinstance(old, CommentedMap) and isinstance(tree, Mapping):
        for gone in [k for k in old if k not in tree]:
            del old[gone]
        for name, value in tree.items():
            _put(old, name, value, remarks)
    elif (block and isinstance(old, CommentedSeq) and isinstance(tree, list)
          and len(old) <= len(tree) and not all(_is_number(v) for v in tree)):
        for i, value in enumerate(tree):
            if i == len(old):
                old.append(None)
            _put(old, i, value, remarks)
    elif tree is None and old in (None, "") and (isinstance(key, int) or key in holder):
        return  # a key without a value stays as it is typed
    elif old is None or plain_of(old) != plain_of(tree):
        holder[key] = _node(tree)
        if isinstance(old, str) and not isinstance(tree, Mapping | list):
            if not remarks:
                _remark(holder, key, tree)
        elif key in holder.ca.items and not old and isinstance(holder, CommentedMap):
            token = holder.ca.items[key][2]  # a remark about what is to come moves to the key
            token.value, token.start_mark = f" {token.value}", CommentMark(0)


def span_end(lines: Sequence[str], start: int, column: int, key: bool = True) -> int:
    """First line after the block that starts at a line; comments behind it are not its own.

    ``start`` and ``column`` are those of the key or of the dash, from 0. A list may start in the
    column of its ``key``; not so behind a dash.
    """
    end = start + 1
    for i in range(start + 1, len(lines)):
        text = lines[i].strip()
        if not text or text.startswith("#"):
            continue
        indent = len(lines[i]) - len(lines[i].lstrip(" "))
        if not (indent > column or (key and indent == column and re.match(r"-(\s|\Z)", text))):
            break
        end = i + 1
    return end


@dataclass
class LineEdits:
    """Replacements of line ranges, put in from the bottom up."""

    source: SourceText
    lines: list[str]
    remarks: bool = False
    """A remark behind a value stays when the value is replaced, for it may say what the value is;
    it goes where a new value comes from elsewhere, for it may say where the old one did."""
    changes: list[tuple[int, int, int, list[str]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    """Remarks that went."""

    @classmethod
    def of(cls, source: SourceText, remarks: bool = False) -> "LineEdits":
        """Edits of a file, none made yet."""
        return cls(source, [piece.rstrip("\r\n") for piece in _LINES.findall(source.text)],
                   remarks)

    def text(self) -> str:
        """Old lines with their own line ends, new ones with the file's usual end."""
        out = _LINES.findall(self.source.text)
        ends = Counter(piece[len(piece.rstrip("\r\n")):] for piece in out)
        ends.pop("", None)
        end = ends.most_common(1)[0][0] if ends else "\n"
        if out and not out[-1].endswith(("\r", "\n")) and self.changes:
            out[-1] += end
        for start, stop, _, new in sorted(self.changes, key=lambda c: c[:3], reverse=True):
            out[start:stop] = [line + end for line in new]
        return "".join(out)

    def put(self, start: int, end: int, new: list[str]) -> None:
        self.changes.append((start, end, len(self.changes), new))

    def remove(self, path: DataPath) -> None:
        """Take a key out, with the remarks in its lines."""
        mark = self.source.keys[path]
        self.put(mark.line - 1, span_end(self.lines, mark.line - 1, mark.column - 1), [])

    def set_key(self, path: DataPath, key: str, tree: Tree, order: Iterable[str]) -> None:
        """Replace a key of the mapping at ``path``, or put it behind its neighbour in ``order``."""
        mark = self.source.keys.get((*path, key))
        if mark is not None:
            self._replace(mark.line - 1, mark.column - 1, (*path, key), tree)
            return
        known = list(order)
        present = [k for k in known if (*path, k) in self.source.keys]
        before = [k for k in present if known.index(k) < known.index(key)]
        neighbour = before[-1] if before else (present or list(self._data))[0]
        mark = self.source.keys[(*path, neighbour)]
        at = span_end(self.lines, mark.line - 1, mark.column - 1)
        self.put(at, at, [*([] if path else [""]), *emit({key: tree}, mark.column - 1)])

    @property
    def _data(self) -> Mapping[str, Any]:
        return self.source.data if isinstance(self.source.data, dict) else {}

    def _replace(self, start: int, column: int, path: DataPath, tree: Tree) -> None:
        end = span_end(self.lines, start, column)
        first, *rest = self.lines[start:end]
        old = [first[column:], *(line[min(column, len(line) - len(line.lstrip(" "))):]
                                 for line in rest)]
        text = "\n".join(old) + "\n"
        yaml = _yaml(text)
        try:
            part = yaml.load(text)
        except YAMLError:
            raise refused(self.source, path, "an anchor or a form that the edit would break"
                           ) from None
        _put(part, path[-1], tree, self.remarks)
        new = _dumped(yaml, part, column)
        new[0] = first[:column] + new[0][column:]
        for i, line in enumerate(old):
            remark = _REMARK.search(line)
            if remark and not any(remark[1] in n for n in new):
                self.notes.append(f"line {start + i + 1}: the remark {remark[1][:60]!r} went with "
                                  "its old value")
        self.put(start, end, new)

    def add(self, key: str, added: Sequence[Tree]) -> None:
        """Put entries behind the last one of a list at the top level."""
        existing = self._data.get(key)
        if not existing:
            self.set_key((), key, added, CaseFile.model_fields)
            return
        if not isinstance(existing, list):
            raise refused(self.source, (key,), "something else than a list")
        mark = self.source.values[(key, len(existing) - 1)]
        row = mark.line - 1
        while "-" not in self.lines[row][: mark.column - 1 if row == mark.line - 1 else None]:
            row -= 1  # the dash stands on a line of its own
        dash = self.lines[row].index("-")
        at = span_end(self.lines, row, dash, key=False)
        self.put(at, at, [" " * dash + line[2:] for line in emit({key: added})[1:]])


def set_parts(
    raw: bytes,
    file: str,
    *,
    changed: Mapping[int, Mapping[str, Tree]] = MappingProxyType({}),
    added: Mapping[str, Sequence[Tree]] = MappingProxyType({}),
    parts: Mapping[str, Tree] = MappingProxyType({}),
    inside: Mapping[str, Mapping[str, Tree]] = MappingProxyType({}),
) -> tuple[bytes, tuple[str, ...]]:
    """A case with some of its parts replaced or put in, and remarks lost with an old value.

    Parameters
    ----------
    changed : mapping of int to mapping
        Position of a sample -> its keys with their new values.
    added : mapping of str to sequence of tree
        Key of a list (samples, weeds, notes) -> entries to put behind its last one.
    parts : mapping of str to tree
        Key at the top level -> its new value.
    inside : mapping of str to mapping
        Key of a part (case, field) -> its keys with their new values.

    Raises
    ------
    CaseProblems
        Not well-formed, or written in a way that cannot be edited line by line.
    """
    source = read_sound(raw, file)
    added = {key: trees for key, trees in added.items() if trees}
    _refuse_flow(source, changed, added, inside)
    edits = LineEdits.of(source)
    for position, keys in changed.items():
        for key, tree in keys.items():
            edits.set_key((SAMPLES, position), key, tree, Sample.model_fields)
    for part, keys in inside.items():
        for key, tree in keys.items():
            edits.set_key((part,), key, tree, part_at((part,)).model_fields)  # type: ignore
    there = [key for key in added if (key,) in source.keys]
    for key in there:  # inner lines before new keys
        edits.add(key, added[key])
    for key, tree in {**parts, **{k: v for k, v in added.items() if k not in there}}.items():
        edits.set_key((), key, tree, CaseFile.model_fields)
    new = edits.text()
    _compare(source, new, file, changed, added, parts, inside)
    start = BOM if raw.startswith(BOM) else b""
    return start + new.encode("utf-8"), tuple(edits.notes)


def refused(source: SourceText, path: DataPath, found: str) -> CaseProblems:
    """The error that a case cannot be edited at a place."""
    fault = Fault("CASE066", path, found, "text that can be edited line by line", _WRITE_OUT)
    return CaseProblems((source.problem(fault),))


def _refuse_flow(source: SourceText, changed: Iterable[int], lists: Iterable[str],
                 inside: Iterable[str]) -> None:
    """Lists and mappings that are edited from inside must stand in block style."""
    data = source.data if isinstance(source.data, dict) else {}
    if not data:
        raise refused(source, (), "a case without keys")
    within: list[tuple[DataPath, str]] = [((), "a case written in { }")]
    within += [((key,), f"{key} in [ ] or by an alias")
               for key in dict.fromkeys([SAMPLES, *lists]) if data.get(key)]
    within += [((SAMPLES, i), "a sample in { } or by an alias") for i in changed]
    within += [((key,), f"{key} in {{ }} or by an alias") for key in inside]
    for path, found in within:
        mark = source.values.get(path)
        if mark and source.lines[mark.line - 1][mark.column - 1 :][:1] in tuple("{[*&"):
            raise refused(source, path, found)
    for key in inside:
        if not isinstance(data.get(key), dict):
            raise refused(source, (key,), f"no keys in {key}")


def _compare(source: SourceText, text: str, file: str, changed: Mapping[int, Mapping[str, Tree]],
             added: Mapping[str, Sequence[Tree]], parts: Mapping[str, Tree],
             inside: Mapping[str, Mapping[str, Tree]]) -> None:
    """Read the new text back; anything but the change that was meant is refused."""
    meant = {**plain_of(source.data), **plain_of(parts)}
    for key, keys in inside.items():
        meant[key].update(plain_of(keys))
    for position, keys in changed.items():
        meant[SAMPLES][position].update(plain_of(keys))
    for key, trees in added.items():
        old = meant.get(key)
        meant[key] = [*(old if isinstance(old, list) else []), *plain_of(list(trees))]
    first = next(iter([*parts, *inside, *added]), SAMPLES)
    try:
        again, problems = read_text(text, file)
    except CaseProblems:
        raise refused(source, (first,), "an anchor or a form that the edit would break"
                       ) from None
    if problems or plain_of(again.data) != meant:
        raise refused(source, (first,), "a form that the edit would change elsewhere")
