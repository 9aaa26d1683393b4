"""The README's pictures show the pages of today."""

import re

import pytest
import tour
from golden import alike
from PIL import Image
from sample_reports import ROOT


@pytest.mark.parametrize("name", tour.PAGES)
def test_tour_shows_today(name):
    """ensures that a picture of the README is the page as it is now, and small."""
    path = tour.FOLDER / f"{name}.png"
    kept = Image.open(path).convert("L")
    now = tour.shown(tour.PAGES[name]).convert("L")
    assert kept.size == now.size and alike(kept, now), (
        f"{name} looks different; if this is wanted: python tests/golden/tour.py")
    assert path.stat().st_size < 100_000


def test_readme_shows_each_picture_with_words():
    """ensures that every picture is shown once, with a text alternative."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.findall(r"!\[([^\]]{20,})\]\(sample_inputs/tour/([^)]+)\.png\)", text)
    assert sorted(name for _, name in found) == sorted(tour.PAGES)
