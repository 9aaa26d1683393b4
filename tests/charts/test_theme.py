"""The palette on paper: readable, and told apart without colour."""

from __future__ import annotations

from itertools import pairwise

import pytest

from loambrief.charts.theme import theme
from loambrief.colours import channels, contrast, luminance


def test_contrast_reference():
    """ensures that contrast is the WCAG 2.2 ratio.

    Black on white is 21:1; #767676 is the lightest grey that passes 4.5:1 on white, #777777
    just fails (4.48). Published examples for WCAG success criterion 1.4.3.
    """
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


def lightness(colour):
    """CIE 1976 L* of an sRGB colour, 0 to 100."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27


def test_lightness_reference():
    """ensures that lightness is CIE 1976 L*: white 100, black 0, 18.4 % reflectance about 50."""
    assert lightness("#FFFFFF") == pytest.approx(100.0)
    assert lightness("#000000") == pytest.approx(0.0)
    assert lightness("#777777") == pytest.approx(50.0, abs=0.1)  # Y = 0.184


def test_text_contrast():
    """ensures that every text colour has at least 4.5:1 on what it is printed on (WCAG 1.4.3)."""
    t = theme()
    for colour in (t.ink, t.muted, t.accent):
        assert contrast(colour, t.paper) >= 4.5
    assert contrast(t.ink, t.faint) >= 4.5 and contrast(t.muted, t.faint) >= 4.5
    for fill in t.series:
        assert max(contrast(fill, t.ink), contrast(fill, t.paper)) >= 4.5


def test_mark_contrast():
    """ensures that marks have at least 3:1 on paper (WCAG 1.4.11)."""
    t = theme()
    for colour in (t.accent, t.second, t.ink):
        assert contrast(colour, t.paper) >= 3.0


def test_grey_copy():
    """ensures that neighbours in a bar, and accent and second, differ by 20 L* at least.

    About 2 L* is just noticeable side by side; 20 leaves room for a poor copier.
    """
    t = theme()
    for one, other in [*pairwise(t.series), (t.accent, t.second)]:
        assert abs(lightness(one) - lightness(other)) >= 20


# Machado, Oliveira and Fernandes 2009, severity 1.0, linear RGB (from memory, unverified).
BLINDNESS = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
               (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
               (-0.011820, 0.042940, 0.968881)),
}


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colour_blind(kind):
    """ensures that accent and second stay apart for red- and green-blind readers."""
    t = theme()

    def seen(colour: str) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
                  for c in channels(colour)]
        r, g, b = (sum(m * c for m, c in zip(row, linear, strict=True)) for row in BLINDNESS[kind])
        y = min(max(0.2126 * r + 0.7152 * g + 0.0722 * b, 0.0), 1.0)
        return 116 * y ** (1 / 3) - 16

    assert abs(seen(t.accent) - seen(t.second)) >= 15


def test_sizes():
    """ensures that no type size of the charts is under the smallest allowed, and that is 7 pt."""
    t = theme()
    assert t.smallest >= 7.0
    assert min(t.title, t.text, t.small) >= t.smallest
