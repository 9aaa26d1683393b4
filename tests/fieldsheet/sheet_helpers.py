"""A sheet filled in, for tests."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf

ROOT = Path(__file__).parents[2]
CASE = ROOT / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


def fill(pdf: bytes, values: dict[str, str]) -> bytes:
    """A sheet filled with pypdf, as a form program would."""
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(pdf))
    for page in writer.pages:
        writer.update_page_form_field_values(page, values, auto_regenerate=False)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
