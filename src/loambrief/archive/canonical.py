"""One JSON text for one value: the JSON Canonicalization Scheme, RFC 8785.

What is digested in the archive is written this way, so that any implementation of the scheme
gets the same digest.
"""

import hashlib
import json

import rfc8785


def canonical(value: object) -> bytes:
    """The canonical text of a value, UTF-8 without a line end.

    Parameters
    ----------
    value : object
        None, bool, int, float, str, lists, tuples and dicts with str keys of these.

    Raises
    ------
    ValueError
        A number that is not finite, an integer beyond 2**53 - 1, a lone surrogate, another type.
    """
    return rfc8785.dumps(value)  # type: ignore[arg-type]  # other types are refused there


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
