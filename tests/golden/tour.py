"""The README's pictures: pages of the first sample, large enough to be read.

``python tests/golden/tour.py`` writes them anew.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [p for p in (str(HERE), str(HERE.parent)) if p not in sys.path]

import pypdfium2 as pdfium  # noqa: E402
from PIL import Image  # noqa: E402
from sample_reports import ROOT, pdf  # noqa: E402

FOLDER = ROOT / "sample_inputs" / "tour"
SAMPLE = "acid_corn_ohio"
PAGES = {"page-1": 1, "page-2": 2, "page-plan": 7}
COLOURS = 24


def shown(page: int) -> Image.Image:
    """A page at 72 dots an inch, in colour."""
    return pdfium.PdfDocument(pdf(SAMPLE))[page - 1].render(scale=1).to_pil().convert("RGB")


def main() -> None:
    """Write the pictures."""
    FOLDER.mkdir(exist_ok=True)
    for name, page in PAGES.items():
        out = io.BytesIO()
        shown(page).quantize(COLOURS, method=Image.Quantize.MEDIANCUT).save(out, "PNG",
                                                                            optimize=True)
        (FOLDER / f"{name}.png").write_bytes(out.getvalue())


if __name__ == "__main__":
    main()
