"""A user's own wording: macros that take the place of shipped ones, run in a sandbox.

A folder holds ``<language>/<topic>.j2`` files with macros of the names the shipped templates
use. They are untrusted. Three fences, one behind the other:

1. Only a small part of the template language is let in, judged on the syntax tree: text,
   values of the message, conditions, one loop at a time over a value, arithmetic without
   powers and repetition, known filters, calls of macros that stand above. No imports, no
   inclusion, no attributes that start with an underscore, no functions such as ``range``.
2. What is left runs in jinja2's immutable sandbox, with no loader and no globals.
3. Sizes are limited: of files, of a macro, of loops and calls of one message, of its text.
"""

import hashlib
import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from jinja2 import StrictUndefined, TemplateError, nodes
from jinja2.sandbox import ImmutableSandboxedEnvironment, SecurityError

from loambrief.errors import TextFault
from loambrief.findings.model import MORE
from loambrief.report.terms import Marking
from loambrief.resources import templates_dir

MOST_FILES = 64
MOST_BYTES = 32 * 1024
"""Of one file."""
MOST_TEXT = 4000
"""Characters of one message, and of what a macro is given or gives back."""
MOST_NODES = 300
"""Parts of one macro."""
MOST_LITERAL = 4000
"""Characters of literal text in one macro."""
MOST_CALLS = 50
"""Macros called for one message."""
MOST_ITEMS = 100
"""Entries a loop may go through."""
MOST_DIGITS = 12
OWN_FILTERS = ("num", "pct", "q", "money", "day", "each", "write", "listed", "nutrient",
               "count_word", "t", "the", "of_the", "to_the", "gender", "agree", "plural", "depth",
               "start")
"""Filters of the shipped templates that are offered."""
SHIPPED_FILTERS = ("upper", "lower", "capitalize", "first", "last", "length", "trim", "abs", "int")
NAMES = ("si", "more")
"""Values that every message may use: True if the reader's units are metric; the mark where its
short form ends."""
TESTS = ("defined", "undefined", "none", "true", "false", "number", "string", "equalto", "eq",
         "ne", "gt", "ge", "lt", "le", "in", "odd", "even")
_PLAIN = (nodes.Template, nodes.Macro, nodes.Output, nodes.TemplateData, nodes.Name, nodes.Const,
          nodes.Getattr, nodes.Getitem, nodes.Filter, nodes.Test, nodes.If, nodes.CondExpr,
          nodes.Compare, nodes.Operand, nodes.And, nodes.Or, nodes.Not, nodes.Add, nodes.Sub,
          nodes.Div, nodes.Neg, nodes.Concat, nodes.For, nodes.Call, nodes.Keyword, nodes.List,
          nodes.Tuple)
_MACRO = re.compile(r"\{%-?\s*macro\s+(\w+)\(")
_BOUND: "ContextVar[OwnWords | None]" = ContextVar("own_words", default=None)


@dataclass(frozen=True)
class OwnWords:
    """Own wording of all languages, checked."""

    files: tuple[tuple[str, bytes], ...]
    """``<language>/<topic>.j2`` and content, in order of name."""
    _modules: dict = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def sha256(self) -> str:
        digest = hashlib.sha256()
        for name, content in self.files:
            digest.update(name.encode() + b"\0" + hashlib.sha256(content).digest())
        return digest.hexdigest()

    def macro(self, folder: str, topic: str, name: str, filters: Mapping[str, Callable],
              system: str, key: object) -> Callable[[dict], str] | None:
        """The own macro of a message, or None if there is none.

        ``key`` tells one writer's filters from another's.
        """
        source = dict(self.files).get(f"{folder}/{topic}.j2")
        if source is None:
            return None
        kept = self._modules.get((key, folder, topic))
        if kept is None:
            box = _Box(filters, system)
            kept = box, box.from_string(source.decode("utf-8")).module
            self._modules[key, folder, topic] = kept
        box, module = kept
        found = getattr(module, name, None)
        if found is None or name.startswith("_"):
            return None

        def write(values: dict) -> str:
            box.calls = 0
            try:
                return str(_short(str(found(values))))
            except (SecurityError, RecursionError, MemoryError, OverflowError,
                    ArithmeticError) as error:
                raise TextFault(f"{folder}/{topic}.j2, macro {name}: {error}") from error

        return write


def _short(value: object) -> object:
    if isinstance(value, str) and len(value) > MOST_TEXT:
        raise SecurityError(f"more than {MOST_TEXT} characters")
    return value


class _Box(ImmutableSandboxedEnvironment):
    """The sandbox: counts calls, bounds loops and filters, and knows no functions."""

    def __init__(self, filters: Mapping[str, Callable], system: str):
        super().__init__(undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                         autoescape=False, loader=None, extensions=[Marking])
        self.calls = 0
        kept = {name: self.filters[name] for name in SHIPPED_FILTERS}
        self.filters.clear()
        self.filters.update(kept)
        self.filters.update({n: _bounded(filters[n]) for n in OWN_FILTERS if n in filters})
        self.filters["loop_over"] = _loop_over
        self.tests = {name: self.tests[name] for name in TESTS}
        self.globals.clear()
        self.globals.update(si=system == "si", more=MORE)

    def call(self, context, obj, /, *args, **kwargs):
        self.calls += 1
        if self.calls > MOST_CALLS:
            raise SecurityError(f"more than {MOST_CALLS} calls in one message")
        for given in (*args, *kwargs.values()):
            _short(given)
        return _short(super().call(context, obj, *args, **kwargs))

    def _parse(self, source, name, filename):
        tree = super()._parse(source, name, filename)
        for loop in tree.find_all(nodes.For):  # every loop goes through a bounded list
            loop.iter = nodes.Filter(loop.iter, "loop_over", [], [], None, None, lineno=loop.lineno)
        return tree


def _loop_over(value: object) -> list:
    if isinstance(value, str) or not isinstance(value, list | tuple | dict):
        raise SecurityError("a loop goes through a list")
    if len(value) > MOST_ITEMS:
        raise SecurityError(f"a loop over more than {MOST_ITEMS} entries")
    return list(value)


def _bounded(function: Callable) -> Callable:
    """A filter whose numbers of digits stay small."""
    def run(value, *args, **kwargs):
        for given in (*args, *kwargs.values()):
            if isinstance(given, int | float) and not 0 <= given <= MOST_DIGITS:
                raise SecurityError(f"{given} digits; 0 to {MOST_DIGITS}")
            if isinstance(given, str) and len(given) > 80:
                raise SecurityError("an argument of more than 80 characters")
        return function(value, *args, **kwargs)

    return run


@contextmanager
def with_own_words(words: OwnWords | None) -> Iterator[None]:
    """Every writer inside uses these words first."""
    token = _BOUND.set(words)
    try:
        yield
    finally:
        _BOUND.reset(token)


def bound() -> OwnWords | None:
    """The own words in force."""
    return _BOUND.get()


def shipped_macros() -> dict[str, frozenset[str]]:
    """"<language>/<topic>" -> names of the macros that a user may replace."""
    root = templates_dir() / "text"
    return {path.relative_to(root).with_suffix("").as_posix():
            frozenset(_MACRO.findall(path.read_text(encoding="utf-8")))
            for path in sorted(root.glob("*/*.j2"))}


def read_own_words(folder: Path, topics: Mapping[str, frozenset[str]]) -> OwnWords:
    """Read and check a folder with ``<language>/<topic>.j2`` of own wording.

    Parameters
    ----------
    topics : mapping of str to set of str
        "<language>/<topic>" -> names of its shipped macros; others are refused.

    Raises
    ------
    TextFault
        With every problem, each with file and line.
    OSError
        The folder cannot be read.
    """
    problems: list[str] = []
    files: list[tuple[str, bytes]] = []
    found = sorted(p for p in folder.rglob("*.j2"))
    if not found:
        problems.append(f"{folder}: no <language>/<topic>.j2 in it")
    if len(found) > MOST_FILES:
        raise TextFault(f"{folder}: {len(found)} files, at most {MOST_FILES}")
    for path in found:
        name = path.relative_to(folder).as_posix()
        try:
            content = _read(path)
            text = content.decode("utf-8")
        except (UnicodeDecodeError, TextFault) as error:
            problems.append(f"{path}: {error}")
            continue
        known = topics.get(name.removesuffix(".j2"))
        if known is None:
            problems.append(f"{path}: no shipped templates of that language and topic")
            continue
        problems += [f"{path}:{line}: {what}" for line, what in check(text, known)]
        files.append((name, content))
    if problems:
        raise TextFault("\n".join(problems))
    return OwnWords(tuple(files))


def _read(path: Path) -> bytes:
    if path.is_symlink() or any(p.is_symlink() for p in path.parents if p.name in ("en", "es")):
        raise TextFault("a link")
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(handle, "rb") as stream:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode) or about.st_size > MOST_BYTES:
            raise TextFault(f"not a file of at most {MOST_BYTES} bytes")
        return stream.read(MOST_BYTES + 1)


def check(text: str, known: frozenset[str]) -> list[tuple[int, str]]:
    """What is not let in of a template, as (line, what); ``known`` macros it may replace."""
    try:
        tree = ImmutableSandboxedEnvironment().parse(text)
    except TemplateError as error:
        return [(getattr(error, "lineno", 1) or 1, f"not a template: {error}")]
    except RecursionError:
        return [(1, "nested too deep")]
    found: list[tuple[int, str]] = []
    above: set[str] = set()
    for node in tree.body:
        if isinstance(node, nodes.Macro):
            if node.name not in known and not node.name.startswith("own_"):
                found.append((node.lineno, f"macro {node.name}: no message of that name; own "
                                           "helpers are named own_..."))
            found += _check_macro(node, above)
            above.add(node.name)
        elif not (isinstance(node, nodes.Output) and all(
                isinstance(n, nodes.TemplateData) and not n.data.strip() for n in node.nodes)):
            found.append((node.lineno, "only macros may stand here"))
    return found


def _check_macro(macro: nodes.Macro, above: set[str]) -> Iterator[tuple[int, str]]:
    own = {n.name for n in macro.args} | {n.name for n in macro.find_all(nodes.Name)
                                          if n.ctx in ("store", "param")}
    literal = sum(len(n.data) for n in macro.find_all(nodes.TemplateData))
    literal += sum(len(n.value) for n in macro.find_all(nodes.Const) if isinstance(n.value, str))
    if sum(1 for _ in macro.find_all(nodes.Node)) > MOST_NODES:
        yield macro.lineno, f"macro {macro.name}: more than {MOST_NODES} parts"
    if literal > MOST_LITERAL:
        yield macro.lineno, f"macro {macro.name}: more than {MOST_LITERAL} characters of text"
    for node in macro.find_all(nodes.Node):
        line = getattr(node, "lineno", None) or macro.lineno
        if not isinstance(node, _PLAIN):
            yield line, f"{type(node).__name__} is not let in"
        elif isinstance(node, nodes.Macro):
            yield line, "a macro inside a macro"
        elif isinstance(node, nodes.Getattr) and node.attr.startswith("_"):
            yield line, f"the attribute {node.attr!r}"
        elif isinstance(node, nodes.Getitem) and not (
            isinstance(node.arg, nodes.Const) and isinstance(node.arg.value, int | str)
            and not str(node.arg.value).startswith("_")
        ):
            yield line, "an item that is not a plain name or number"
        elif isinstance(node, nodes.Filter) and node.name not in (*OWN_FILTERS, *SHIPPED_FILTERS):
            yield line, f"the filter {node.name!r}"
        elif isinstance(node, nodes.Test) and node.name not in TESTS:
            yield line, f"the test {node.name!r}"
        elif isinstance(node, nodes.Call) and not (
            isinstance(node.node, nodes.Name) and node.node.name in above
        ):
            yield line, "a call of something else than a macro above"
        elif isinstance(node, nodes.Name) and node.ctx == "load" and (
            node.name not in own | above | {*NAMES}
        ):
            yield line, f"the name {node.name!r}"
        elif isinstance(node, nodes.For) and (
            node.recursive or list(_below(node, (nodes.For, nodes.Call)))
        ):
            yield line, "a loop or a call inside a loop"


def _below(loop: nodes.For, kinds: tuple) -> Iterator[nodes.Node]:
    for part in (*loop.body, *loop.else_):
        if isinstance(part, kinds):
            yield part
        yield from part.find_all(kinds)
