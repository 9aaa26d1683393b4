"""Formula inputs as typed on the command line: numbers, words, lists, JSON."""

import inspect
import json
import math
import re
from collections.abc import Iterable

from loambrief.agronomy.possible import KINDS
from loambrief.errors import ImpossibleInput

NUMBERS = {"float", "int", *KINDS}


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


def fitted(signature: inspect.Signature, values: dict[str, object]) -> dict[str, object]:
    """Typed values for the parameters of a formula; one stands for a list of one.

    The annotations say what is wanted; a name the formula does not know is left as it is. Raises
    ``ImpossibleInput`` with every value that is not of the kind wanted.
    """
    wrong, found = [], dict(values)
    for name, value in values.items():
        if name not in signature.parameters:
            continue
        outer = re.sub(r"\[.*\]", "", str(signature.parameters[name].annotation))
        kinds = {word.strip() for word in outer.split("|")}
        many = kinds & {"Iterable", "Sequence", "list", "Mapping"}
        inner = "".join(re.findall(r"\[.*\]", str(signature.parameters[name].annotation)))
        if isinstance(value, bool):
            good = "bool" in kinds
        elif isinstance(value, float):
            good = bool(kinds & NUMBERS)
            if not good and many & {"Iterable", "Sequence"}:
                good, found[name] = True, [[value]] if "Sequence[" in inner else [value]
        elif isinstance(value, str):
            good = "str" in kinds
        else:
            good = (bool(many) and isinstance(value, dict) == ("Mapping" in many)
                    and (not inner or _holds(value, inner)))
            if (good and "Sequence[" in inner and isinstance(value, list)
                    and not all(isinstance(v, list) for v in value)):
                found[name] = [value]
        if not good:
            wanted = ("numbers with commas between" if many - {"Mapping"} else
                      'JSON such as {"a": 1}' if many else
                      "a number" if kinds & NUMBERS else
                      "true or false" if "bool" in kinds else "a word")
            wrong.append(f"{name}: found {shown(value)}, wanted {wanted}")
    if wrong:
        raise ImpossibleInput("; ".join(wrong))
    return found


def _holds(value: object, inner: str) -> bool:
    """Whether the entries of a list or mapping are of the kind that is wanted there."""
    entries = value.values() if isinstance(value, dict) else value
    return isinstance(entries, Iterable) and all(
        entry is None
        or (isinstance(entry, str) and "str" in inner.removeprefix("[str, "))
        or (isinstance(entry, int | float) and not isinstance(entry, bool))
        or (isinstance(entry, list) and "Sequence[" in inner)
        for entry in entries)


def shown(value: object) -> str:
    """A value as it would be typed."""
    return f"{value:g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)
