"""Formula inputs as typed on the command line: numbers, words, lists, JSON."""

from __future__ import annotations

import json
import math

from loambrief.errors import ImpossibleInput


def parse_value(text: str) -> object:
    """``"6.2"`` → 6.2; ``"1,2,3"`` → [1.0, 2.0, 3.0]; JSON text → its value; else the text.

    Raises
    ------
    ImpossibleInput
        Text that starts like JSON but is not, or a number that is not finite.
    """
    text = text.strip()
    if text[:1] in "[{":
        try:
            return json.loads(text, parse_constant=_refuse)
        except json.JSONDecodeError as error:
            raise ImpossibleInput(f"{text!r} is not JSON: {error.msg}") from None
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    number = _number(text)
    if number is not None:
        return number
    if "," in text:
        parts = [_number(part.strip()) for part in text.split(",") if part.strip()]
        if parts and all(part is not None for part in parts):
            return parts
    return text


def _refuse(word: str):
    raise ImpossibleInput(f"{word} is not a finite number")


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    if not math.isfinite(number):
        raise ImpossibleInput(f"{text} is not a finite number")
    return number


def parse_values(pairs: tuple[str, ...]) -> dict[str, object]:
    """``("adf_pct=34", ...)`` as keyword arguments.

    Raises
    ------
    ImpossibleInput
        A pair without ``=``, or a name given twice.
    """
    found: dict[str, object] = {}
    for pair in pairs:
        name, sep, text = pair.partition("=")
        name = name.strip().replace("-", "_")
        if not sep or not name or not text.strip():
            raise ImpossibleInput(f"{pair!r} is not NAME=VALUE")
        if name in found:
            raise ImpossibleInput(f"{name} is given twice")
        found[name] = parse_value(text)
    return found
