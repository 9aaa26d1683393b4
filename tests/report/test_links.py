"""Addresses that may be opened from an advisory, and no others."""

from __future__ import annotations

import pytest

from loambrief.report.blocks import Span
from loambrief.report.links import telephone, web_address


@pytest.mark.parametrize("link, safe", [
    ("https://example.org/a?b=1&c=2", "https://example.org/a?b=1&c=2"),
    (" http://example.org ", "http://example.org"),
    ("mailto:office@example.org", "mailto:office@example.org"),
    ("tel:+15550142", "tel:+15550142"),
    ("https://example.org/ünsal", "https://example.org/%C3%BCnsal"),
    ("javascript:alert(1)", ""), ("data:text/html,x", ""), ("file:///etc/passwd", ""),
    ("tel:+", ""), ("tel:*#06#", ""), ("https://a b", ""), ("https://<b>", ""), ("", ""),
    ("ftp://example.org", ""), ("JAVASCRIPT:x", ""), ("#place", ""),
])
def test_only_safe_addresses(link, safe):
    """ensures that a link opens a web page, a letter or a call, and nothing else."""
    assert web_address(link) == safe


@pytest.mark.parametrize("text, number", [
    ("+1 (740) 555-0177", "tel:+17405550177"), ("740.555.0177", "tel:7405550177"),
    ("555-0177 ext. 4", "tel:5550177"), ("+34 600 11 22 33", "tel:+34600112233"),
    ("0177", ""), ("ask at the office", ""), ("call 740 555 0177", ""), ("", ""),
])
def test_telephone(text, number):
    """ensures that a number becomes one to tap on, its text unchanged, and other text stays."""
    made = telephone(text)
    if number:
        assert made == Span(text, link=number) and web_address(number) == number
    else:
        assert made == text
