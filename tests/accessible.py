"""What two checkers of accessibility, outloud and pdfua, call an error."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import outloud
import pdfua
from outloud.findings import Result
from outloud.registry import all_rules
from pdfua.document import PdfDocument, StructElement


@cache
def _rules() -> frozenset[str]:
    """Rules whose findings are errors; none of the others raises its finding to one."""
    return frozenset(rule.id for rule in all_rules() if rule.severity == "error")


def looked_at(path: Path) -> Result:
    """A file as outloud sees it, with errors alone; every rule came to its end."""
    result = outloud.check(str(path), only=_rules())
    assert result.error is None
    assert not [run for run in result.runs if run.status == "crashed"]
    result.findings = [f for f in result.findings if f.severity == "error"]
    return result


def _walk(self, node, depth: int, page: int | None) -> Iterator[StructElement]:
    """An element and all below it, which pdfua would read again for each level they lie at."""
    element = self._build(node, depth, page)
    below = [element] if element else []
    while below:
        element = below.pop()
        yield element
        below += reversed(element.children)


PdfDocument._walk = _walk


def judged(path: Path) -> list[pdfua.Finding]:
    """Errors that pdfua finds in a file."""
    return [f for f in pdfua.validate(str(path)).findings if f.severity is pdfua.Severity.ERROR]
