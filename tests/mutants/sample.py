"""Whether the tests notice small faults: a seeded sample of them, each tried on its own.

A mutant is the program with one small change: a comparison, sign, number or truth value turned
over, a condition negated, a returned value or a call left out. The tree is copied to a temporary
folder; the change is made there, and the tests that concern the module run until one fails:
first the files that import it, then those of its part, then those that make whole advisories.
What no test notices is a survivor: either a test is missing, or the change means nothing
(another way to write the same); the second is judged by hand.

::

    nice -n 19 python tests/mutants/sample.py --seed 7 --count 100 --near
    nice -n 19 python tests/mutants/sample.py --seed 7 --count 100

The first command leaves out the tests that make whole advisories and calls what survives
suspected; the second tries only those on the tests left out. Each result is a line of JSON in
``--results``; the same command goes on where it stopped. One process at a time: each run of
tests is a copy of this one, which has the libraries loaded.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import importlib
import inspect
import json
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = Path("src/loambrief")
COPIED = ("src", "templates", "tests", "sample_inputs", ".ci", "README.md", "DEVELOPERS.md",
          "pyproject.toml")
WIDE = ("tests/test_published.py", "tests/test_tables.py", "tests/golden", "tests/test_advisory.py",
        "tests/test_cli.py", "tests/test_new_user.py", "tests/test_terminal.py", "tests/findings",
        "tests/actions", "tests/report", "tests/properties", "tests/i18n", "tests/reading",
        "tests/pages", "tests/history", "tests/fieldsheet", "tests/case", "tests/record",
        "tests/render", "tests/charts", "tests/scenarios", "tests/batch/test_bundle.py",
        "tests/test_documented_commands.py")
"""What runs last, quickest first: tests that use the program as a whole."""
ELSEWHERE = {
    "topics": ("tests/test_published.py", "tests/agronomy", "tests/findings"),
    "archive": ("tests/archive", "tests/sign", "tests/record"),
    "agronomy": ("tests/agronomy", "tests/test_published.py"),
    "tables": ("tests/test_tables.py", "tests/test_published.py"),
    "units.py": ("tests/properties", "tests/test_published.py", "tests/case"),
}
"""Where the tests of a part are, if not in the folder of its name."""
WITNESSES = ("tests/render/test_witnesses.py", "tests/render/test_archive.py")
"""They start other programs, which takes long, and concern the written file only."""
LIBRARIES = ("babel.numbers", "click", "cryptography.x509", "fontTools.ttLib", "highspy",
             "hypothesis.strategies", "jinja2",
             "matplotlib.figure", "numpy", "openpyxl", "pandas", "pikepdf", "PIL.Image",
             "pyhanko.sign.validation", "pydantic", "pypdf", "pypdfium2", "pytest",
             "reportlab.platypus", "rich.console", "ruamel.yaml", "yaml")
"""Loaded once, before any test: half the time of a short run of tests."""

SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot,
    ast.IsNot: ast.Is, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
}


@dataclass(frozen=True)
class Mutant:
    """One change: bytes ``start`` to ``end`` of a file become ``text``."""

    file: str
    line: int
    start: int
    end: int
    before: str
    text: str

    @property
    def key(self) -> str:
        return f"{self.file}:{self.line}: {self.before} -> {self.text}"


# What can be changed ----------------------------------------------------------------------


def mutants(path: Path, name: str) -> list[Mutant]:
    """Every mutant of a file, in the order of its text."""
    data = path.read_bytes()
    starts = [0]
    for line in data.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    found = []
    for node, changed in _changes(ast.parse(data)):
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[node.end_lineno - 1] + node.end_col_offset
        text = ast.unparse(changed)
        if isinstance(changed, ast.expr):
            text = f"({text})"
        found.append(Mutant(name, node.lineno, start, end,
                            " ".join(data[start:end].decode().split()), text))
    return sorted(found, key=lambda m: (m.start, m.end, m.text))


def _changes(node: ast.AST) -> Iterator[tuple[ast.AST, ast.AST]]:
    """A node of the tree and what may stand in its place, for all nodes below."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.Assert | ast.JoinedStr | ast.Import | ast.ImportFrom):
                continue  # an assertion is there for the type checker
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            if not isinstance(child, ast.AST):
                continue
            yield from ((child, new) for new in _instead(child))
            for test in _conditions(child):
                yield test, ast.UnaryOp(ast.Not(), test)
            yield from _changes(child)


def _instead(node: ast.AST) -> Iterator[ast.AST]:
    """What may stand in the place of one node."""
    match node:
        case ast.Compare(ops=ops):
            for i, op in enumerate(ops):
                yield _with(node, ops=[*ops[:i], SWAPPED[type(op)](), *ops[i + 1:]])
        case ast.BinOp(op=op) if type(op) in SWAPPED and not (
                _is_text(node.left) or _is_text(node.right)):
            yield _with(node, op=SWAPPED[type(op)]())
        case ast.BoolOp(op=op):
            yield _with(node, op=SWAPPED[type(op)]())
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node.operand
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value) | float(value)):
            yield ast.Constant(value + 1 if abs(value) < 10 else value * 1.1)
        case ast.Return(value=ast.expr() as value) if not _is_none(value):
            yield ast.Return(None)
        case ast.Expr(value=ast.Call()):
            yield ast.Pass()


def _conditions(node: ast.AST) -> list[ast.expr]:
    if isinstance(node, ast.If | ast.While | ast.IfExp):
        return [node.test]
    return node.ifs if isinstance(node, ast.comprehension) else []


def _with(node: ast.AST, **parts: object) -> ast.AST:
    new = copy.copy(node)
    for name, value in parts.items():
        setattr(new, name, value)
    return new


def _is_text(node: ast.AST) -> bool:
    """Text and lists have no difference; a sum turned into one tells nothing."""
    return isinstance(node, ast.JoinedStr | ast.List | ast.Tuple) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str))


def _is_none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


# Which tests ------------------------------------------------------------------------------


def stages(tree: Path, mutant: Mutant) -> tuple[list[list[str]], list[list[str]]]:
    """The tests for a mutant, near and wide, in groups that run one after the other; none twice."""
    inside = Path(mutant.file).relative_to(SOURCE)
    module = "loambrief." + ".".join(inside.with_suffix("").parts).removesuffix(".__init__")
    package, _, last = module.rpartition(".")
    named = re.compile(rf"\b{re.escape(module)}\b|from {re.escape(package)} import "
                       rf"(\([^)]*\b{last}\b|.*\b{last}\b)")
    texts = {p: p.read_text() for p in sorted((tree / "tests").rglob("test_*.py"))}
    near = [p for p, text in texts.items() if named.search(text)]
    part = inside.parts[0].removesuffix(".py")
    homes = ELSEWHERE.get(inside.parts[0], (f"tests/{part}", f"tests/test_{part}.py"))
    topic = inside.parts[1] if part == "topics" and len(inside.parts) == 3 else None
    if topic:
        near += [p for home in homes for p in (tree / home).glob(f"test_{topic}*.py")]
    around = names_around(tree, mutant)
    near += [tree / p for p in homes if Path(p).name == "test_published.py" and any(
        around.search(q.read_text()) for q in (tree / "tests/published").glob("*.toml"))]
    # those that name the function first, then those of the module's name, then the shorter
    near.sort(key=lambda p: (not around.search(texts[p]), last not in p.stem, len(texts[p])))
    groups, seen = [], set()
    for group in ([str(p.relative_to(tree)) for p in near], homes, WIDE):
        new = [name for name in dict.fromkeys(group) if (tree / name).exists()
               and not {name, str(Path(name).parent)} & seen]
        seen.update(new)
        groups.append(new)
    return [g for g in groups[:2] if g], groups[2:]


def names_around(tree: Path, mutant: Mutant) -> re.Pattern[str]:
    """The functions and classes a mutant is in, by name."""
    names = [node.name for node in ast.walk(ast.parse((tree / mutant.file).read_bytes()))
             if isinstance(node, ast.FunctionDef | ast.ClassDef)
             and node.lineno <= mutant.line <= (node.end_lineno or 0)]
    return re.compile(rf"\b({'|'.join(names)})\b" if names else r"\Z.")


class FirstFailure:
    """Part of the run of tests: puts those that name a function first; tells what failed."""

    def __init__(self, said: Path, first: re.Pattern[str] | None) -> None:
        self.said = said
        self.first = first

    def pytest_collection_modifyitems(self, items: list) -> None:
        if self.first:
            items.sort(key=lambda item: not self.first.search(
                item.name + inspect.getsource(inspect.unwrap(item.obj))))

    def pytest_collectreport(self, report: object) -> None:
        self.pytest_runtest_logreport(report)

    def pytest_runtest_logreport(self, report: object) -> None:
        if report.failed and not self.said.exists():
            self.said.write_text(report.nodeid)


@dataclass
class Trial:
    """The copied tree, and what is known of its tests without any change."""

    tree: Path
    limit: float
    broken: set[str]

    def run(self, tests: list[str], first: re.Pattern[str] | None = None,
            without: tuple[str, ...] = (), limits: int = 1) -> tuple[str, str]:
        """What became of some tests: "passed", "failed" or "timed out", and the first failure."""
        said = self.tree / "output" / "failed"
        said.unlink(missing_ok=True)
        child = os.fork()
        if not child:
            self._in_child([*tests, *(f"--ignore={name}" for name in without),
                            *(f"--deselect={name}" for name in sorted(self.broken))],
                           FirstFailure(said, first))
        end = time.monotonic() + self.limit * limits
        try:
            while not (ended := os.waitpid(child, os.WNOHANG))[0]:
                if time.monotonic() > end:
                    return "timed out", ""
                time.sleep(0.05)
        finally:  # and when this program is stopped
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)
        if os.waitstatus_to_exitcode(ended[1]) in (0, 5):  # 5: every test is left out
            return "passed", ""
        return "failed", said.read_text() if said.exists() else "the start of the tests"

    def _in_child(self, arguments: list[str], plugin: FirstFailure) -> None:
        """Run the tests in a session of its own: what they start is stopped with them."""
        os.setsid()
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in range(3):
            os.dup2(nothing, stream)
        code = 70
        try:
            os.chdir(self.tree)
            os.environ.update(PYTHONPATH=str(self.tree / "src"),
                              XDG_CACHE_HOME=str(self.tree / "cache"))
            sys.path[:0] = [str(self.tree / "src")]
            import pytest

            code = int(pytest.main(["-x", "-q", "-n", "0", "-p", "no:randomly", "--tb=no",
                                    "--assert=plain", *arguments], [plugin]))
        finally:
            os._exit(code)

    def judge(self, mutant: Mutant, groups: list[list[str]]) -> tuple[str, str]:
        """"killed" and by what, "timed out", or "survived"."""
        path = self.tree / mutant.file
        whole = path.read_bytes()
        without = () if mutant.file.startswith(f"{SOURCE.as_posix()}/render/") else WITNESSES
        around = names_around(self.tree, mutant)
        for tests in groups:
            _put(path, whole[:mutant.start] + mutant.text.encode() + whole[mutant.end:])
            try:
                state, first = self.run(tests, around, without)
            finally:
                _put(path, whole)
            if state != "passed":
                return ("killed", first) if state == "failed" else (state, " ".join(tests))
        return "survived", ""

    def unsound(self, tests: set[str]) -> set[str]:
        """Which of the tests fail without any change; they are left out from then on."""
        found = set()
        while tests - found:
            state, first = self.run(sorted(tests - found), limits=len(tests))
            if state == "passed":
                break
            wrong = {first} & tests or tests - found  # none can be told: trust none
            found |= wrong
            self.broken |= wrong
        return found


def _put(path: Path, data: bytes) -> None:
    """Write a module; its compiled form goes, as a change within a second would not be seen."""
    path.write_bytes(data)
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
        compiled.unlink()


# A sample ---------------------------------------------------------------------------------


def sample(tree: Path, seed: int, count: int, only: list[str]) -> list[Mutant]:
    """So many mutants of the places that fit one of the patterns; without one, of all."""
    every = [m for path in sorted((tree / SOURCE).rglob("*.py"))
             for m in mutants(path, path.relative_to(tree).as_posix()) if not only or fits(m, only)]
    return random.Random(seed).sample(every, min(count, len(every)))


def fits(mutant: Mutant, patterns: list[str]) -> bool:
    """Whether a path below the source, with or without the line, fits one of the patterns."""
    inside = Path(mutant.file).relative_to(SOURCE)
    return any(inside.match(p) or inside.with_name(f"{inside.name}:{mutant.line}").match(p)
               for p in patterns)


def copy_tree(tree: Path) -> None:
    for name in COPIED:
        here = ROOT / name
        if here.is_dir():
            shutil.copytree(here, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif here.exists():
            shutil.copy(here, tree / name)
    (tree / "output").mkdir()


def options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--only", action="append", default=[], metavar="PATTERN",
                        help="files below src/loambrief, as 'agronomy/*', or one line of a file, "
                        "as 'units.py:40'; may be repeated")
    parser.add_argument("--not-now", action="append", default=[], metavar="PATTERN",
                        help="leave these for later; may be repeated")
    parser.add_argument("--limit", type=float, default=900.0, metavar="SECONDS",
                        help="for one group of tests")
    parser.add_argument("--near", action="store_true",
                        help="leave out the tests that make whole advisories: quicker, and what "
                        "survives is only suspected")
    parser.add_argument("--again", action="store_true",
                        help="try once more what survived: tests were added")
    parser.add_argument("--results", type=Path, help="default: output/mutants-<seed>.jsonl")
    parser.add_argument("--list", action="store_true", help="show the sample, try nothing")
    return parser.parse_args(arguments)


def main(arguments: list[str] | None = None) -> int:
    given = options(arguments)
    results = given.results or ROOT / "output" / f"mutants-{given.seed}.jsonl"
    done = {}
    if results.exists():
        done = {r["mutant"]: r for r in map(json.loads, results.read_text("utf-8").splitlines())}
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder)
        copy_tree(tree)
        chosen = sample(tree, given.seed, given.count, given.only)
        if given.list:
            print(*(m.key for m in chosen), sep="\n")
            return 0
        for name in LIBRARIES:
            importlib.import_module(name)
        trial = Trial(tree, given.limit, {r["by"] for r in done.values()
                                          if r["state"] == "not judged"})
        again = {None, "not judged", *(() if given.near else ("suspected",)),
                 *(("suspected", "survived", "timed out") if given.again else ())}

        def keep(mutant: str, state: str, by: str, seconds: float) -> None:
            done[mutant] = {"mutant": mutant, "state": state, "by": by, "seconds": seconds}
            with results.open("a", encoding="utf-8") as file:
                file.write(json.dumps(done[mutant], ensure_ascii=False) + "\n")

        killers = {}
        for number, mutant in enumerate(chosen, 1):
            before = done[mutant.key]["state"] if mutant.key in done else None
            if before in again and not fits(mutant, given.not_now):
                started = time.monotonic()
                near, wide = stages(tree, mutant)
                if given.near:
                    near, wide = near[:1], []
                elif before == "suspected" and not given.again:
                    near = near[1:]
                state, by = trial.judge(mutant, near + wide)
                if given.near and state == "survived":
                    state = "suspected"
                if state == "killed":
                    killers[mutant.key] = by
                keep(mutant.key, state, by, round(time.monotonic() - started, 1))
            result = done.get(mutant.key, {"state": "not tried", "by": ""})
            print(f"{number}/{len(chosen)} {result['state']} {mutant.key}  {result['by']}",
                  flush=True)
        unsound = trial.unsound(set(killers.values()))
        for key, by in killers.items():
            if by in unsound:
                keep(key, "not judged", by, 0.0)
    states = {m.key: done[m.key]["state"] if m.key in done else "not tried" for m in chosen}
    told = [state for state in dict.fromkeys(states.values()) if state != "killed"]
    print(f"\n{len(chosen)} mutants", *(f"{state}: {key}" for state in sorted(told)
                                        for key, s in states.items() if s == state),
          *(f"fails without any change: {name}" for name in sorted(trial.broken)), sep="\n")
    return 0 if not told else 1


if __name__ == "__main__":
    sys.exit(main())
