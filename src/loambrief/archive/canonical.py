"""One JSON text for one value: the JSON Canonicalization Scheme, RFC 8785.

Members sorted by the UTF-16 code units of their names (3.2.3), no white space, the shortest
escapes (3.2.2.2), numbers as ECMAScript prints them (3.2.2.3). What is digested in the
archive is written this way, so that any implementation of the scheme gets the same digest.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping

MOST_INTEGER = 2**53 - 1
"""Larger integers are not the same number in every reader (RFC 7493, 2.2)."""
_ESCAPES = {chr(code): f"\\u{code:04x}" for code in range(0x20)} | {
    '"': '\\"', "\\": "\\\\", "\b": "\\b", "\f": "\\f", "\n": "\\n", "\r": "\\r", "\t": "\\t",
}
_TABLE = str.maketrans(_ESCAPES)


def canonical(value: object) -> bytes:
    """The canonical text of a value.

    Parameters
    ----------
    value : object
        None, bool, int, float, str, lists or tuples and mappings with str keys of these.

    Returns
    -------
    bytes
        UTF-8, without a line end.

    Raises
    ------
    ValueError
        A number that is not finite, an integer beyond 2**53 - 1, a lone surrogate.
    TypeError
        Another type.
    """
    try:
        return _text(value).encode("utf-8")
    except UnicodeEncodeError as error:
        raise ValueError(f"text with a lone surrogate at {error.start}") from None


def _text(value: object) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value.translate(_TABLE)}"'
    if isinstance(value, int):
        if abs(value) > MOST_INTEGER:
            raise ValueError(f"integer {value} beyond 2**53 - 1")
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError("a member name that is not text")
        names = sorted(value, key=lambda name: name.encode("utf-16-be", "surrogatepass"))
        return "{" + ",".join(f"{_text(name)}:{_text(value[name])}" for name in names) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(map(_text, value)) + "]"
    raise TypeError(f"{type(value).__name__} has no canonical form")


def number(value: float) -> str:
    """A number as ECMAScript's Number::toString prints it (ECMA-262, 6.1.6.1.20).

    Raises
    ------
    ValueError
        Infinite or not a number.
    """
    if not math.isfinite(value):
        raise ValueError("a number that is not finite")
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    mantissa, _, exponent = f"{abs(value)!r}".partition("e")  # the shortest digits that read back
    whole, _, part = mantissa.partition(".")
    digits = (whole + part).lstrip("0")
    point = int(exponent or 0) + len(whole) - (len(whole + part) - len(digits))
    digits = digits.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        text = digits + "0" * (point - count)
    elif 0 < point <= 21:
        text = f"{digits[:point]}.{digits[point:]}"
    elif -6 < point <= 0:
        text = f"0.{'0' * -point}{digits}"
    else:
        text = digits[0] + (f".{digits[1:]}" if count > 1 else "") + f"e{point - 1:+d}"
    return sign + text


def digest(value: object) -> str:
    """SHA-256 of the canonical text, in hexadecimal."""
    return sha256(canonical(value))


def sha256(content: bytes) -> str:
    """SHA-256 of bytes, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def parse(text: bytes) -> dict:
    """A JSON object from its canonical text.

    Raises
    ------
    ValueError
        Not JSON, not an object, or not in canonical form (a repeated name is not).
    """
    try:
        value = json.loads(text.decode("utf-8"))
    except RecursionError:
        raise ValueError("nested too deep") from None
    if not isinstance(value, dict) or canonical(value) != text:
        raise ValueError("not an object in canonical form")
    return value
