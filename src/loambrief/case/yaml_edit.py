"""Text-level edits of a case: what is not touched stays byte for byte as the user typed it.

The reader's line and column marks say where a key stands; its lines are replaced, everything
around them (comments, order, blank lines, line ends) is kept. Every edit is read back and
compared with what was meant before anybody sees it. Values in ``{ }`` or ``[ ]`` are not
edited: the user is asked to write them out.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from loambrief.case.problems import DataPath, Fault, in_file_order
from loambrief.case.reader import decode, read_text
from loambrief.case.scalars import as_written, resolve
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.source import Source
from loambrief.case.validate import part_at
from loambrief.errors import CaseProblems

BOM = b"\xef\xbb\xbf"
SAMPLES = "samples"
_LINES = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+\Z")
_SAFE = re.compile(r"[A-Za-z0-9<][A-Za-z0-9 .,_/%()+<-]*\Z")
_EMPTY_KEY = re.compile(r"\w+[ \t]*:[ \t]*(?:~|null|\[[ \t]*\])?[ \t]*(?P<comment>#.*)?\Z")
_REMARK = re.compile(r"\s#\s*(?!lab: )(\S.*)\Z")
_WRITE_OUT = "Write the samples out as a list, one key on each line, each entry after '- '."


@dataclass(frozen=True)
class Value:
    """A scalar to write.

    Attributes
    ----------
    text : str
    plain : bool
        A number without quotes; other text is quoted where YAML needs it.
    comment : str
        Written behind it.
    """

    text: str
    plain: bool = False
    comment: str = ""


Tree = Value | dict[str, "Tree"] | list["Tree"]


def tree_of(data: object) -> Tree:
    """Data as it was read, as a tree to write; numbers as they were typed."""
    if isinstance(data, Mapping):
        return branch_of(data)
    if isinstance(data, list):
        return [tree_of(v) for v in data]
    if data is None or isinstance(data, bool):
        return Value({None: "null", True: "true", False: "false"}[data], plain=True)
    return Value(str(as_written(data)), plain=not isinstance(data, str))


def branch_of(data: Mapping[str, object]) -> dict[str, Tree]:
    """A mapping as it was read, as a tree to write."""
    return {str(k): tree_of(v) for k, v in data.items()}


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


def scalar(value: Value) -> str:
    """A scalar as YAML text that reads back as exactly that text."""
    text = value.text
    safe = _SAFE.match(text) and text == text.strip() and isinstance(resolve(text), str)
    shown = text if value.plain or safe else json.dumps(text, ensure_ascii=False)
    return f"{shown}  # {value.comment}" if value.comment else shown


def emit(tree: Tree, indent: int = 0) -> list[str]:
    """Lines of a tree in block style, two blanks for each level; rows of numbers in one line."""
    pad = " " * indent
    if isinstance(tree, Value):
        return [pad + scalar(tree)]
    if tree and isinstance(tree, list) and all(_is_number(v) for v in tree):
        return [f"{pad}[{', '.join(v.text for v in tree)}]"]  # type: ignore[union-attr]
    lines: list[str] = []
    if isinstance(tree, dict):
        for key, value in tree.items():
            if isinstance(value, Value):
                lines.append(f"{pad}{key}: {scalar(value)}")
            elif isinstance(value, list) and all(_is_number(v) for v in value):
                lines.append(f"{pad}{key}: {emit(value)[0] if value else '[]'}")
            elif value:
                lines += [f"{pad}{key}:", *emit(value, indent + 2)]
            else:
                lines.append(f"{pad}{key}: {'{}' if isinstance(value, dict) else '[]'}")
        return lines
    for entry in tree:
        first, *rest = emit(entry, indent + 2)
        lines += [f"{pad}- {first.lstrip()}", *rest]
    return lines


def _is_number(tree: Tree) -> bool:
    """A number (or null) that may stand in a list in one line."""
    return isinstance(tree, Value) and tree.plain and not tree.comment


def span_end(lines: Sequence[str], start: int, column: int, key: bool = True) -> int:
    """First line after the block that starts at a line; comments behind it are not its own.

    Parameters
    ----------
    lines : sequence of str
    start, column : int
        Line and indentation of the key or of the dash, from 0.
    key : bool
        A list may start in the column of its key; not so behind a dash.
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
class Edits:
    """Replacements of line ranges, put in from the bottom up."""

    source: Source
    lines: list[str]
    changes: list[tuple[int, int, int, list[str]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def put(self, start: int, end: int, new: list[str]) -> None:
        self.changes.append((start, end, len(self.changes), new))

    def set_key(self, path: DataPath, key: str, tree: Tree, order: Iterable[str]) -> None:
        """Replace a key of the mapping at ``path``, or put it behind its neighbour in ``order``."""
        mark = self.source.keys.get((*path, key))
        if mark is not None:
            start, column = mark.line - 1, mark.column - 1
            end = span_end(self.lines, start, column)
            old = self.lines[start:end]
            new = emit({key: tree}, column)
            new[0] = old[0][:column] + new[0][column:]
            kept = [line for line in old[1:] if line.strip().startswith("#")]
            self._lost(start, old, new)
            self.put(start, end, [new[0], *kept, *new[1:]])
            return
        present = [k for k in order if (*path, k) in self.source.keys]
        known = list(order)
        before = [k for k in present if known.index(k) < known.index(key)] or present[:1]
        mark = self.source.keys[(*path, before[-1])]
        at = span_end(self.lines, mark.line - 1, mark.column - 1)
        gap = [] if path else [""]
        self.put(at, at, [*gap, *emit({key: tree}, mark.column - 1)])

    def _lost(self, start: int, old: list[str], new: list[str]) -> None:
        for i, line in enumerate(old):
            remark = _REMARK.search(line)
            if remark and not line.strip().startswith("#") and not any(
                remark[1] in n for n in new
            ):
                self.notes.append(f"line {start + i + 1}: the remark {remark[1][:60]!r} went with "
                                  "its old value")


def set_samples(raw: bytes, file: str, changed: Mapping[int, Mapping[str, Tree]],
                added: Sequence[Tree]) -> tuple[bytes, tuple[str, ...]]:
    """A case with some keys of its samples replaced and samples added behind them.

    Parameters as of :func:`set_parts`, of which it is the short form.
    """
    return set_parts(raw, file, changed=changed, added={SAMPLES: added})


def set_parts(
    raw: bytes,
    file: str,
    *,
    changed: Mapping[int, Mapping[str, Tree]] = MappingProxyType({}),
    added: Mapping[str, Sequence[Tree]] = MappingProxyType({}),
    parts: Mapping[str, Tree] = MappingProxyType({}),
    inside: Mapping[str, Mapping[str, Tree]] = MappingProxyType({}),
) -> tuple[bytes, tuple[str, ...]]:
    """A case with some of its parts replaced or put in; all other text stays as it is.

    Parameters
    ----------
    raw : bytes
        The case file.
    file : str
        Name used in problems.
    changed : mapping of int to mapping
        Position of a sample -> its keys with their new values.
    added : mapping of str to sequence of tree
        Key of a list (samples, weeds, notes) -> entries to put behind its last one.
    parts : mapping of str to tree
        Key at the top level -> its new value.
    inside : mapping of str to mapping
        Key of a part (case, field) -> its keys with their new values.

    Returns
    -------
    bytes, tuple of str
        The new file, and remarks that were lost with an old value.

    Raises
    ------
    CaseProblems
        Not well-formed, or written in a way that cannot be edited line by line.
    """
    text = decode(raw, file)
    source, problems = read_text(text, file)
    if problems:
        raise CaseProblems(in_file_order(problems))
    pieces = _LINES.findall(text)
    lines = [piece.rstrip("\r\n") for piece in pieces]
    edits = Edits(source, lines)
    _refuse_flow(source, changed, [k for k, v in added.items() if v], inside)
    for position, keys in changed.items():
        for key, tree in keys.items():
            edits.set_key((SAMPLES, position), key, tree, Sample.model_fields)
    for part, keys in inside.items():
        for key, tree in keys.items():
            edits.set_key((part,), key, tree, part_at((part,)).model_fields)  # type: ignore
    fresh = {key: list(trees) for key, trees in added.items() if trees}
    for key in [k for k in fresh if (k,) in source.keys]:  # inner lines before new keys
        _add(edits, key, fresh.pop(key))
    for key, tree in parts.items():
        edits.set_key((), key, tree, CaseFile.model_fields)
    for key, trees in fresh.items():
        _add(edits, key, trees)
    ends = Counter(piece[len(piece.rstrip("\r\n")):] for piece in pieces)
    ends.pop("", None)
    new = _join(edits, pieces, ends.most_common(1)[0][0] if ends else "\n")
    _compare(source, new, file, changed, added, parts, inside)
    start = BOM if raw.startswith(BOM) else b""
    return start + new.encode("utf-8"), tuple(edits.notes)


def _join(edits: Edits, pieces: list[str], end: str) -> str:
    """Old lines with their own line ends, new ones with the file's usual end."""
    out = list(pieces)
    if out and not out[-1].endswith(("\r", "\n")) and edits.changes:
        out[-1] += end
    for start, stop, _, new in sorted(edits.changes, key=lambda c: c[:3], reverse=True):
        out[start:stop] = [line + end for line in new]
    return "".join(out)


def _refused(source: Source, path: DataPath, found: str, help: str = _WRITE_OUT) -> CaseProblems:
    fault = Fault("CASE066", path, found, "text that can be edited line by line", help)
    return CaseProblems((source.problem(fault),))


def _starts_with(source: Source, path: DataPath, signs: str) -> bool:
    mark = source.values.get(path)
    return mark is not None and source.lines[mark.line - 1][mark.column - 1 :][:1] in tuple(signs)


def _refuse_flow(source: Source, changed: Mapping[int, Mapping[str, Tree]],
                 lists: Iterable[str], inside: Iterable[str]) -> None:
    if _starts_with(source, (), "{"):
        raise _refused(source, (), "a case written in { }")
    data = source.data if isinstance(source.data, dict) else {}
    for key in dict.fromkeys([SAMPLES, *lists]):
        if data.get(key) and _starts_with(source, (key,), "[*&"):
            raise _refused(source, (key,), f"{key} in [ ] or by an alias")
    for position in changed:
        if _starts_with(source, (SAMPLES, position), "{*&"):
            raise _refused(source, (SAMPLES, position), "a sample in { } or by an alias")
    for key in inside:
        if not isinstance(data.get(key), dict) or _starts_with(source, (key,), "{*&"):
            raise _refused(source, (key,), f"{key} in {{ }}, by an alias or not at all")


def _add(edits: Edits, key: str, added: list[Tree]) -> None:
    source, lines = edits.source, edits.lines
    data = source.data if isinstance(source.data, dict) else {}
    existing = data.get(key)
    if isinstance(existing, list) and existing:
        mark = source.values[(key, len(existing) - 1)]
        row, column = mark.line - 1, mark.column - 1
        while "-" not in lines[row][: column if row == mark.line - 1 else None]:
            row -= 1  # the dash stands on a line of its own
        dash = lines[row].index("-")
        at = span_end(lines, row, dash, key=False)
        edits.put(at, at, emit(added, dash))
    elif key in data:
        mark = source.keys[(key,)]
        row = mark.line - 1
        match = _EMPTY_KEY.match(lines[row])
        if existing not in (None, []) or not match or span_end(lines, row, 0) != row + 1:
            raise _refused(source, (key,), "a list that is not empty or not in one line")
        remark = f"  {match['comment']}" if match["comment"] else ""
        edits.put(row, row + 1, [f"{key}:{remark}", *emit(added, 2)])
    else:
        order = list(CaseFile.model_fields)
        present = [k for k in order[: order.index(key)] if (k,) in source.keys]
        mark = source.keys[(present[-1] if present else next(iter(data)),)]
        at = span_end(lines, mark.line - 1, mark.column - 1)
        edits.put(at, at, ["", f"{key}:", *emit(added, 2)])


def _compare(source: Source, text: str, file: str, changed: Mapping[int, Mapping[str, Tree]],
             added: Mapping[str, Sequence[Tree]], parts: Mapping[str, Tree],
             inside: Mapping[str, Mapping[str, Tree]]) -> None:
    """Read the new text back; anything but the change that was meant is refused."""
    before = source.data if isinstance(source.data, dict) else {}
    touched = {*parts, *inside, *(k for k, v in added.items() if v)}
    touched |= {SAMPLES} if changed else set()
    meant: dict[str, Any] = {key: plain_of(tree) for key, tree in parts.items()}
    for key, keys in inside.items():
        meant[key] = {**plain_of(before[key]), **{k: plain_of(t) for k, t in keys.items()}}
    if changed:
        meant[SAMPLES] = plain_of(before[SAMPLES])
        for position, keys in changed.items():
            meant[SAMPLES][position] = {**meant[SAMPLES][position],
                                        **{k: plain_of(t) for k, t in keys.items()}}
    for key, trees in added.items():
        if trees:
            old = meant.get(key, plain_of(before[key]) if before.get(key) else [])
            meant[key] = [*old, *(plain_of(tree) for tree in trees)]
    first = next(iter(touched), SAMPLES)
    try:
        again, problems = read_text(text, file)
    except CaseProblems:
        raise _refused(source, (first,), "an anchor or a form that the edit would break"
                       ) from None
    after = again.data if isinstance(again.data, dict) else {}
    rest = [plain_of({k: v for k, v in d.items() if k not in touched}) for d in (before, after)]
    if problems or rest[0] != rest[1] or any(plain_of(after.get(k)) != meant[k] for k in touched):
        raise _refused(source, (first,), "a form that the edit would change elsewhere")
