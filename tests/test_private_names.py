"""Private names of libraries: each use is listed here with its reason and the versions it is
known to work with. A use that is not listed, or a library outside its range, is an error."""

import ast
import importlib
from functools import cache
from importlib.metadata import version
from pathlib import Path

import pytest
import source_code
from packaging.specifiers import SpecifierSet

import loambrief

ROOT = Path(loambrief.__file__).parent
REPORTLAB = ("reportlab", ">=4.2,<5.2")
JINJA2 = ("jinja2", ">=3.1.3,<3.2")
MATPLOTLIB = ("matplotlib", ">=3.10,<3.12")
KNOWN = {
    ("charts/panel.py", "_gen_axes_spines"): (
        *MATPLOTLIB, "an axes without the parts that no chart draws is made in half the time"),
    ("charts/panel.py", "_init_axis"): (
        *MATPLOTLIB, "an axes without the parts that no chart draws is made in half the time"),
    ("charts/panel.py", "_set_scale"): (
        *MATPLOTLIB, "an axis that never has ticks needs nothing that places and words them"),
    ("charts/registry.py", "_update_set_signature_and_docstring"): (
        *MATPLOTLIB, "a sixth of its import goes into signatures that nobody reads"),
    ("archive/sign.py", "_update_meta"): (
        "pyhanko", ">=0.38,<0.39", "signing would write today's date into the metadata"),
    ("render/tags.py", "_annotationrefs"): (
        *REPORTLAB, "areas of links and fields written by ourselves, with their tags"),
    ("render/tags.py", "_doc"): (
        *REPORTLAB, "a canvas has no public way to its document, where objects get their numbers"),
    ("report/compiled.py", "_output_child_to_const"): (
        *JINJA2, "nothing is worked out when a template is compiled; it depends on the reader"),
    ("report/own_words.py", "_parse"): (
        *JINJA2, "a user's template is judged as parsed, before anything of it runs"),
}
"""(module, name) -> library, versions known to work, reason."""


NAMING = (ast.FunctionDef, ast.ClassDef, ast.Name, ast.Attribute, ast.Import, ast.ImportFrom)


@cache
def _nodes():
    """Every node of every module that a name may stand in."""
    return {path.relative_to(ROOT).as_posix(): tuple(
        node for node in found if isinstance(node, NAMING))
        for path, found in source_code.nodes().items()}


def _private(name):
    return name.startswith("_") and not name.startswith("__") and name != "_"


@cache
def _own():
    """Private names that the program itself gives to something."""
    names = set()
    for nodes in _nodes().values():
        for node in nodes:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                names.add(node.name)
            elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
                names.add(node.id if isinstance(node, ast.Name) else node.attr)
    for nodes in _nodes().values():  # a name with a type and no value is somebody else's
        for node in nodes:
            if isinstance(node, ast.ClassDef):
                for part in node.body:
                    if isinstance(part, ast.AnnAssign) and part.value is None and (
                            not _is_data(node)):
                        names.discard(part.target.id)
    return names


def _is_data(node):
    return any("dataclass" in ast.unparse(d) for d in node.decorator_list) or any(
        ast.unparse(base).endswith(("NamedTuple", "BaseModel", "Part", "Protocol", "TypedDict"))
        for base in node.bases)


def _used():
    """(module, name) of every private name that is not the program's own."""
    for module, nodes in _nodes().items():
        for node in nodes:
            if isinstance(node, ast.Attribute) and _private(node.attr):
                if node.attr not in _own() and ast.unparse(node) != "os._exit":  # documented
                    yield module, node.attr
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [*node.module.split("."), *(alias.name for alias in node.names)]
                if not node.module.startswith("loambrief"):
                    yield from ((module, name) for name in names if _private(name))
            elif isinstance(node, ast.Import):
                yield from ((module, name) for alias in node.names
                            for name in alias.name.split(".") if _private(name))
            elif isinstance(node, ast.ClassDef) and node.bases:
                yield from ((module, name) for name in _overridden(module, node))


def _overridden(module, node):
    """Private methods of a library's class that a class of the program takes the place of."""
    wanted = [part.name for part in node.body
              if isinstance(part, ast.FunctionDef) and _private(part.name)]
    if not wanted:
        return
    dotted = ".".join(("loambrief", *Path(module).with_suffix("").parts)).removesuffix(".__init__")
    made = getattr(importlib.import_module(dotted), node.name, None)
    if made is None:
        return  # made inside a function
    for base in made.__mro__[1:]:
        if not base.__module__.startswith("loambrief"):
            yield from (name for name in wanted if name in vars(base))


def test_every_private_name_is_listed():
    """ensures that no private name of a library is used without its reason, and none is listed
    that is not used."""
    assert set(_used()) == set(KNOWN)


@pytest.mark.parametrize("use", sorted(KNOWN), ids=lambda use: f"{use[0]}-{use[1]}")
def test_library_is_a_known_version(use):
    """ensures that the library that is installed is one whose inside was looked at."""
    library, versions, reason = KNOWN[use]
    assert version(library) in SpecifierSet(versions), f"look at {use} again: {reason}"
