"""What is read first is painted first: readers without tags follow the order of drawing."""

from __future__ import annotations

import io
import re

import pikepdf
import pytest
from sample_reports import CASES, rendered

_MCID = re.compile(rb"/MCID (\d+)")


def _drawn(page) -> list[int]:
    """Numbers of marked content in the order of the page's content."""
    content = b"".join(s.read_bytes() for s in (
        page.Contents if isinstance(page.Contents, pikepdf.Array) else [page.Contents]))
    return [int(n) for n in _MCID.findall(content)]


def _read(pdf) -> dict:
    """Numbers of marked content by page, in the order of the structure tree."""
    found: dict = {}

    def walk(node, page):
        if isinstance(node, int):
            found.setdefault(page, []).append(int(node))
            return
        if isinstance(node, pikepdf.Array):
            for kid in node:
                walk(kid, page)
            return
        page = node.Pg.objgen if "/Pg" in node else page
        if node.get("/Type") == "/MCR":
            found.setdefault(page, []).append(int(node.MCID))
        elif "/K" in node:
            walk(node.K, page)

    walk(pdf.Root.StructTreeRoot.K, None)
    return found


@pytest.mark.parametrize("name", CASES)
def test_paint_order_is_reading_order(name):
    """ensures that on every page of both documents content is drawn in the order it is read."""
    made = rendered(name)
    for data in (made.pdf, made.annex):
        with pikepdf.open(io.BytesIO(data)) as pdf:
            read = _read(pdf)
            for number, page in enumerate(pdf.pages, start=1):
                drawn = _drawn(page)
                wanted = read.get(page.obj.objgen, [])
                position = {mark: n for n, mark in enumerate(wanted)}
                order = [position[mark] for mark in drawn if mark in position]
                assert order == sorted(order), (number, order)
