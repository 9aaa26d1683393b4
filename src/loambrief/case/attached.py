"""The files that a case names: under a key ``file`` or ``guide``, and its earlier cases."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from loambrief.case.reader import decode, read_text
from loambrief.case.source import single_values
from loambrief.errors import CaseProblems

NOT_READ = ("lab",)
"""Parts whose ``file`` is for the record only."""
HINTS = (b"file", b"history", b".yaml", b".yml", b".toml", b"\\")
"""A case without any of these, in small letters, names no file: keys, endings, escapes."""


def missing_elsewhere(raw: bytes, home: Path, other: Path) -> tuple[str, ...]:
    """Files a case names, each once, that lie where it stood (``home``), not where it goes to."""
    data = _data(raw)
    history = data.get("history") if isinstance(data, Mapping) else None
    earlier = [n.strip() for n in history if isinstance(n, str)] if isinstance(
        history, list) else []
    return tuple(name for name in dict.fromkeys([*_named(data), *earlier])
                 if (home / name).is_file() and not (other / name).is_file())


def _data(raw: bytes) -> object:
    """The plain data of a file; nothing if it names no files or is no YAML."""
    small = raw.lower()
    if not any(hint in small for hint in HINTS):
        return {}
    try:
        return read_text(decode(raw, ""), "")[0].data
    except CaseProblems:
        return {}


def _named(data: object) -> Iterator[str]:
    """Every file named in plain data, but for the earlier cases."""
    for path, value in single_values(data):
        holder = [step for step in ("", *path[:-1]) if isinstance(step, str)][-1]
        if isinstance(value, str) and ((path[-1:] == ("file",) and holder not in NOT_READ)
                                       or path[-1:] == ("guide",)):
            yield value.strip()
