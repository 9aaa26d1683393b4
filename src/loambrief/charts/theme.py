"""Colours, type sizes and strokes of the charts, read from ``templates/theme.toml``."""

from dataclasses import dataclass
from functools import cache
from typing import Any

from loambrief.colours import theme_file
from loambrief.errors import ResourceMissing


@dataclass(frozen=True)
class Theme:
    """The part of the theme the charts use. Lengths in points, colours as ``#RRGGBB``."""

    ink: str
    muted: str
    rule: str
    faint: str
    paper: str
    accent: str
    accent_soft: str
    second: str
    series: tuple[str, ...]
    title: float
    text: float
    small: float
    smallest: float
    hairline: float
    line: float
    strong: float
    marker: float
    hatch_gap: float
    hatch_line: float
    dash: tuple[float, ...]
    dot: tuple[float, ...]

    def colour(self, name: str) -> str:
        """``"accent"`` to its hex value; a hex value passes through."""
        return name if name.startswith("#") else getattr(self, name)


@cache
def theme() -> Theme:
    """The theme of this installation.

    Raises ResourceMissing if the file is not there or lacks a key the charts need.
    """
    data = theme_file()
    try:
        colours, sizes, charts = data["colors"], data["type"], data["charts"]
        names = ("ink", "muted", "rule", "faint", "paper", "accent", "accent_soft", "second")
        numbers = ("hairline", "line", "strong", "marker", "hatch_gap", "hatch_line")
        read: dict[str, Any] = {**{name: colours[name] for name in names},
                                **{name: float(charts[name]) for name in numbers}}
        return Theme(
            **read,
            series=tuple(colours["series"]),
            title=sizes["chart_title"],
            text=sizes["chart_text"],
            small=sizes["chart_small"],
            smallest=sizes["smallest"],
            dash=tuple(charts["dash"]),
            dot=tuple(charts["dot"]),
        )
    except KeyError as error:
        raise ResourceMissing(f"theme.toml: no {error.args[0]!r} for the charts") from None
