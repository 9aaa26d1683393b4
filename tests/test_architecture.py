"""The import order and the places where each library may be used."""

import ast
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest
import source_code

import loambrief

ROOT = Path(loambrief.__file__).parent
LAYERS = (  # highest first; a module imports only from lower lines, or from its own part
    ("cli", "__main__"),
    ("doctor",),
    ("season",),
    ("batch",),
    ("record", "mail", "preview"),
    ("pipeline",),
    ("archive", "render"),
    ("report",),
    ("charts",),
    ("actions",),
    ("assess",),
    ("findings",),
    ("formulas", "case"),
    ("tables",),
    ("numbers",),
    ("colours", "settings", "units"),
    ("resources",),
    ("errors",),
)
LEVEL = {name: depth for depth, names in enumerate(LAYERS) for name in names}
ONLY_IN = {
    "babel": ("report/cldr.py",),
    "yaml": ("case/reader.py",),
    "ruamel": ("case/yaml_edit.py",),
    "jinja2": ("report/", "render/html.py", "case/starter.py", "preview/pages.py"),
    "matplotlib": ("charts/",),
    "reportlab": ("render/", "charts/canvas.py", "charts/fonts.py"),
    "pyhanko": ("archive/",),
    "pikepdf": ("render/", "archive/"),
    "rfc8785": ("archive/canonical.py",),
    "reportlab.platypus": (),
    "geographiclib": ("case/boundary.py",),
    "highspy": ("actions/solver.py",),
    "scipy": (),
    "pandas": ("case/", "batch/", "season/"),
    "shapefile": ("case/boundary_read.py", "report/rate_map.py"),
    "openpyxl": ("case/intake_read.py", "case/workbook_cells.py", "case/workbook_read.py",
                 "case/workbook_write.py", "batch/summary.py", "season/files.py"),
    "click": ("cli/",),
    "rich": ("cli/", "batch/"),
    "dask": ("batch/cluster.py",),
    "distributed": ("batch/cluster.py", "batch/cluster_worker.py"),
    "fsspec": ("batch/cluster_worker.py",),
    "pebble": ("batch/pool.py",),
    "starlette": ("preview/",),
    "uvicorn": ("preview/serve.py",),
    "watchfiles": ("preview/serve.py",),
}
MODULES = sorted(ROOT.rglob("*.py"))


@cache
def _imports(path):
    """Every module that a file imports, by its full name."""
    return tuple(_names(path))


def _names(path):
    for node in source_code.nodes()[path]:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _part(module):
    """The part of the program that a module belongs to; topics are split by what a file is."""
    pieces = module.split(".")[1:]
    if not pieces or pieces[0] == "__version__":
        return ""
    if pieces[0] == "topics":
        if pieces[1:2] == ["assess"]:
            return "assess"
        if pieces[2:] == ["chart"]:
            return "report"
        return "formulas" if pieces[-1] == "listing" or any(
            p.startswith("formulas") for p in pieces) else "findings"
    return {"agronomy": "formulas"}.get(pieces[0], pieces[0])


def _name(path):
    pieces = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(pieces[:-1] if pieces[-1] == "__init__" else pieces)


NAMES = {_name(path): path for path in MODULES}


def _known(path):
    """The project's modules that a file imports."""
    return {module for module in _imports(path) if module in NAMES}


def test_imports_only_from_lower_layers():
    """ensures that no module imports anything from its own level's neighbours or above."""
    wrong = []
    for name, path in NAMES.items():
        own, known = _part(name), _known(path)
        if path.name == "__init__.py" and not known:
            continue
        assert own in LEVEL, f"{path}: {own} has no place in the import order"
        wrong += [f"{name} imports {module}, which is not lower" for module in known
                  if _part(module) not in ("", own) and module != "loambrief.topics"
                  and LEVEL[own] >= LEVEL[_part(module)]]
    assert wrong == []


def test_no_module_reaches_itself_by_imports():
    """ensures that no import cycle exists, not inside a package either."""
    reached, under = set(), []

    def walk(name):
        if name in under:
            raise AssertionError(" > ".join([*under[under.index(name):], name]))
        if name in reached:
            return
        under.append(name)
        for module in sorted(_known(NAMES[name])):
            if not name.startswith(module + "."):  # a package is there before its modules
                walk(module)
        under.pop()
        reached.add(name)

    for name in NAMES:
        walk(name)


def test_class_names_have_one_meaning():
    """ensures that no two classes share a name, with or without a leading underscore."""
    places = defaultdict(list)
    for path, found in source_code.nodes().items():
        for node in found:
            if isinstance(node, ast.ClassDef):
                places[node.name.lstrip("_")].append(path.name)
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


PARTS_OF_NAMES = {
    "topics/refractometry/formulas.py": "columns of a table, one for each Brix",
    "actions/model.py": "an id that the adviser types may name a group of actions",
    "agronomy/registry.py": "an argument that is a word of Python",
    "charts/model.py": "private names of a module",
    "charts/theme.py": "a colour is typed or named",
}
"""Modules that look at a part of a name, and why no decision on a field rests on it."""


def test_no_decision_rests_on_a_part_of_a_name():
    """ensures that findings, actions and charts are told apart by whole keys."""
    found = {path.relative_to(ROOT).as_posix()
             for path, nodes in source_code.nodes().items() for node in nodes
             if isinstance(node, ast.Attribute | ast.Name) and getattr(
                 node, "attr", getattr(node, "id", "")) in ("startswith", "endswith", "fnmatch",
                                                            "fnmatchcase")}
    decide = ("agronomy/", "topics/", "findings/", "actions/", "charts/", "assess")
    assert {name for name in found if name.startswith(decide)} == PARTS_OF_NAMES.keys()


def test_charts_know_nothing_of_the_advisory():
    """ensures that a chart is drawn from its spec alone: numbers, words and the look of pages."""
    for path in (ROOT / "charts").glob("*.py"):
        parts = {_part(module) for module in _known(path)} - {""}
        assert parts <= {"charts", "numbers", "colours", "resources", "errors"}, path.name


@pytest.mark.parametrize("library", sorted(ONLY_IN))
def test_library_stays_in_its_place(library):
    """ensures that a library is imported only where its kind of work is done."""
    for path in MODULES:
        inside = path.relative_to(ROOT).as_posix()
        if any(m == library or m.startswith(library + ".") for m in _imports(path)):
            assert inside.startswith(ONLY_IN[library]), f"{inside} imports {library}"


def test_topics_do_not_import_each_other():
    """ensures that every formula can be tested from its own paper."""
    for name, path in NAMES.items():
        if name == "loambrief":
            continue
        own = name.split(".")
        if own[1] == "topics" and len(own) == 4 and _part(name) == "formulas":
            for module in _known(path):
                topic = module.split(".")[2] if module.startswith("loambrief.topics.") else None
                assert topic in (None, own[2]), f"{name} imports {module}"


def test_modules_stay_readable():
    """ensures that no module grows past the alarm of 600 lines."""
    for path in MODULES:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 600, path
