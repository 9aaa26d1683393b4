"""What the checker outloud calls an error, without the rules that only warn."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import outloud
from outloud.findings import Result
from outloud.registry import all_rules


@cache
def _rules() -> frozenset[str]:
    """Rules whose findings are errors; none of the others raises its finding to one."""
    return frozenset(rule.id for rule in all_rules() if rule.severity == "error")


def looked_at(path: Path) -> Result:
    """A file as the checker sees it, with errors alone; every rule came to its end."""
    result = outloud.check(str(path), only=_rules())
    assert result.error is None
    assert not [run for run in result.runs if run.status == "crashed"]
    result.findings = [f for f in result.findings if f.severity == "error"]
    return result
