"""The program's own text, read and parsed once for all tests that look at it."""

from __future__ import annotations

import ast
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import loambrief

ROOT = Path(loambrief.__file__).parent
KINDS = (ast.Attribute, ast.Call, ast.ClassDef, ast.FunctionDef, ast.Import, ast.ImportFrom,
         ast.Name)


@cache
def nodes() -> Mapping[Path, tuple[ast.AST, ...]]:
    """Modules in the order of their paths, each with its nodes of ``KINDS``."""
    return {path: tuple(node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                        if isinstance(node, KINDS)) for path in sorted(ROOT.rglob("*.py"))}
