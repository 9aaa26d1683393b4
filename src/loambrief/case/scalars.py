"""What a bare word of a case file means: nothing, true or false, a number, or text.

The rules are the core schema of YAML 1.2 without its octal and hexadecimal numbers, so that
dates, times, ``yes``, ``no`` and depth ranges stay the text that was typed. Numbers
remember how they were written: ``00123`` is kept whole where text is wanted.
"""

import math
import re
from typing import Self

LONGEST_NUMBER = 40
"""Characters; a longer run of digits is text (an account number, not a measurement)."""

_NOTHING = frozenset(("", "~", "null", "Null", "NULL"))
_TRUTH = {"true": True, "True": True, "TRUE": True,
          "false": False, "False": False, "FALSE": False}
_WHOLE = re.compile(r"[-+]?[0-9]+\Z")
_DECIMAL = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z")
_NOT_FINITE = re.compile(r"(?:[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))\Z")


class _Typed:
    """A number that knows how it was written."""

    typed: str

    def __new__(cls, value: float, typed: str = "") -> Self:
        self = super().__new__(cls, value)  # type: ignore[call-arg]
        self.typed = typed or str(value)
        return self


class TypedInt(_Typed, int):
    """A whole one."""


class TypedFloat(_Typed, float):
    """A decimal one."""


class NotFinite(ValueError):
    """A number that is infinite, too large to hold, or "not a number"."""


def resolve(text: str) -> object:
    """Meaning of a plain (unquoted) scalar without its surrounding blanks.

    None for an empty one, ``~`` and ``null``.

    Raises
    ------
    NotFinite
        ``.inf``, ``.nan``, or a number too large for a float (``1e400``).
    """
    if text in _NOTHING:
        return None
    if text in _TRUTH:
        return _TRUTH[text]
    if _NOT_FINITE.match(text):
        raise NotFinite(text)
    if len(text) > LONGEST_NUMBER:
        return text
    if _WHOLE.match(text):
        return TypedInt(int(text), text)
    if _DECIMAL.match(text):
        value = float(text)
        if not math.isfinite(value):
            raise NotFinite(text)
        return TypedFloat(value, text)
    return text


def as_written(value: object) -> object:
    """The typed text of a number from a file; anything else unchanged."""
    return value.typed if isinstance(value, _Typed) else value
