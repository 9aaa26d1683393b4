"""The import order and the places where each library may be used."""

import ast
from functools import cache
from pathlib import Path

import pytest

import loambrief

ROOT = Path(loambrief.__file__).parent
LAYERS = (  # highest first; a module imports only from lower lines
    ("cli", "__main__"),
    ("batch", "record", "doctor"),
    ("mail",),
    ("pipeline",),
    ("archive", "render"),
    ("charts",),
    ("report",),
    ("actions",),
    ("findings",),
    ("agronomy", "case"),
    ("tables",),
    ("colours", "units"),
    ("resources",),
    ("errors",),
)
LEVEL = {name: depth for depth, names in enumerate(LAYERS) for name in names}
TOPIC_FREE = {"registry", "topics", "selftest", "arguments", "listing", "crops", "guides",
              "intervals"}
ONLY_IN = {
    "babel": ("report/cldr.py",),
    "yaml": ("case/reader.py",),
    "jinja2": ("report/", "case/starter.py"),
    "reportlab": ("render/", "charts/"),
    "pyhanko": ("archive/",),
    "pikepdf": ("render/", "archive/"),
    "highspy": ("actions/solver.py",),
    "scipy": (),
    "pandas": ("case/", "batch/"),
    "openpyxl": ("case/intake_read.py", "batch/summary.py"),
    "click": ("cli/",),
    "rich": ("cli/", "batch/"),
    "dask": ("batch/cluster.py", "batch/chunk.py"),
    "distributed": ("batch/cluster.py", "batch/chunk.py"),
    "fsspec": ("batch/exchange.py",),
}
MODULES = sorted(ROOT.rglob("*.py"))


@cache
def _imports(path):
    """Every module that a file imports, by its full name."""
    return tuple(_names(path))


def _names(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _part(module):
    pieces = module.split(".")
    return pieces[1] if len(pieces) > 1 else ""


@pytest.mark.parametrize("path", MODULES, ids=[str(p.relative_to(ROOT)) for p in MODULES])
def test_imports_only_from_lower_layers(path):
    """ensures that a module imports nothing from its own level's neighbours or above."""
    own = path.relative_to(ROOT).parts[0].removesuffix(".py")
    if own == "__init__":
        return
    assert own in LEVEL, f"{own} has no place in the import order"
    for module in _imports(path):
        if not module.startswith("loambrief"):
            continue
        part = _part(module)
        if part in ("", "__version__", own):
            continue
        assert LEVEL[own] < LEVEL[part], f"{path.name} imports {module}, which is not lower"


@pytest.mark.parametrize("library", sorted(ONLY_IN))
def test_library_stays_in_its_place(library):
    """ensures that a library is imported only where its kind of work is done."""
    for path in MODULES:
        inside = path.relative_to(ROOT).as_posix()
        if any(m == library or m.startswith(library + ".") for m in _imports(path)):
            assert inside.startswith(ONLY_IN[library]), f"{inside} imports {library}"


def test_topics_do_not_import_each_other():
    """ensures that every formula can be tested from its own paper."""
    for path in (ROOT / "agronomy").glob("*.py"):
        if path.stem in TOPIC_FREE or path.stem == "__init__":
            continue
        for module in _imports(path):
            if module.startswith("loambrief.agronomy."):
                other = module.split(".")[2]
                same_topic = other.split("_")[0] == path.stem.split("_")[0]
                assert other in TOPIC_FREE or same_topic, f"{path.name} imports {module}"


def test_modules_stay_readable():
    """ensures that no module grows past the alarm of 600 lines."""
    for path in MODULES:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 600, path
