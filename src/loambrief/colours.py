"""Colours as ``#RRGGBB``: the theme's, how light each is, and how well two part."""

import tomllib
from collections.abc import Mapping
from functools import cache
from typing import Any

from loambrief.errors import ResourceMissing
from loambrief.resources import templates_dir


@cache
def theme_file() -> Mapping[str, Any]:
    """All of ``theme.toml``; raises ResourceMissing if it is not there or has no colours."""
    path = templates_dir() / "theme.toml"
    try:
        theme = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ResourceMissing(f"{path} not found") from None
    if "colors" not in theme:
        raise ResourceMissing(f"{path}: no 'colors'")
    return theme


def theme_colours() -> Mapping[str, str]:
    """The single colours of the theme by name ("ink", "paper", "accent" ...)."""
    return {name: value for name, value in theme_file()["colors"].items()
            if isinstance(value, str)}


def channels(colour: str) -> tuple[float, float, float]:
    """``#RRGGBB`` as three numbers from 0 to 1."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour, 0 black to 1 white.

    Notes
    -----
    WCAG 2.2, definition of relative luminance: each channel c is linear up to 0.04045
    (c / 12.92), above it ((c + 0.055) / 1.055)^2.4; the sum is weighted 0.2126, 0.7152, 0.0722.
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
              for c in channels(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def mixed(one: str, other: str, share: float) -> str:
    """A colour between two; ``share`` of the second, 0 to 1."""
    pairs = zip(channels(one), channels(other), strict=True)
    return "#" + "".join(f"{round(255 * (a + (b - a) * share)):02X}" for a, b in pairs)


def lifted(colour: str, ground: str, least: float) -> str:
    """A colour mixed with white until it stands out from a dark ground by a contrast ratio."""
    steps = (mixed(colour, "#FFFFFF", step / 20) for step in range(21))
    return next(c for c in steps if contrast(c, ground) >= least)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21: (L1 + 0.05) / (L2 + 0.05) (WCAG 2.2)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
