"""The HTML twin in a real browser: axe-core finds nothing, and a phone shows it whole."""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import sync_playwright
from render_samples import model
from sample_reports import report, short_case

from loambrief import pipeline
from loambrief.case.load import load_bytes
from loambrief.render.html import render_html

CHROMIUM = shutil.which("chromium")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]
AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
OPEN = "document.querySelectorAll('details').forEach(d => d.open = true)"
FINDINGS = """axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(
    v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | ')))"""
TOO_WIDE = """[...document.querySelectorAll('body *')].filter(
    e => !e.closest('svg') && e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 1
    && getComputedStyle(e).display !== 'inline' && !e.closest(ALLOWED)
    ).map(e => e.outerHTML.slice(0, 160))"""
PHONE, DESK = (390, 844), (1280, 900)

pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture(scope="module")
def browser():
    """A browser of its own; it gets no network."""
    with sync_playwright() as started:
        found = started.chromium.launch(executable_path=CHROMIUM, headless=True, args=ARGUMENTS)
        yield found
        found.close()


@contextmanager
def shown(browser, data, folder, size, **more):
    """A page with every fold open."""
    path = folder / "page.html"
    path.write_bytes(data)
    width, height = size
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True,
                                  **more)
    try:
        page = context.new_page()
        page.set_default_timeout(240_000)
        page.goto(path.as_uri())
        page.evaluate(OPEN)
        yield page
    finally:
        context.close()


@pytest.fixture(scope="module")
def advisory():
    """The sample of two zones, with every part."""
    return render_html(report("acid_corn_ohio"))


EVERY = [(scheme, size) for scheme in ("light", "dark") for size in (PHONE, DESK)]


@pytest.mark.parametrize(("name", "ways"), [
    ("synthetic", EVERY), ("en", EVERY), ("es", [("dark", PHONE)])])  # colours and widths stay
def test_axe_finds_nothing(browser, tmp_path, name, ways):
    """ensures that axe-core has no finding (all its rules, WCAG and best practice), with every
    fold open, by day and by night, on a phone and on a desk, and in Spanish. (It takes more than
    a second for every thousand elements; a short case has every kind of them.)"""
    made = model(figures=True) if name == "synthetic" else pipeline.report_model(
        pipeline.advise(load_bytes(short_case(language=name).encode(), "case.yaml")))
    # the page's own policy lets no script run: the checker is put in past it
    with shown(browser, render_html(made), tmp_path, DESK, bypass_csp=True) as page:
        page.evaluate(AXE.read_text(encoding="utf-8"))
        for scheme, (width, height) in ways:
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate(FINDINGS) == [], (scheme, width)


def test_checker_sees_a_fault(browser, tmp_path):
    """ensures that the check above can fail: an image without text is named."""
    bad = render_html(model(figures=True)).replace(b"</main>", b'<img src="data:,"></main>')
    with shown(browser, bad, tmp_path, DESK, bypass_csp=True) as page:
        page.evaluate(AXE.read_text(encoding="utf-8"))
        assert any(found.startswith("image-alt") for found in page.evaluate(FINDINGS))


def test_phone_needs_no_sideways_scrolling(browser, advisory, tmp_path):
    """ensures that at 390 px nothing of the advisory is wider than the screen, that rate and
    cost of every action are among what shows, and that tables of the annex scroll in a box."""
    with shown(browser, advisory, tmp_path, PHONE) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        assert page.evaluate(TOO_WIDE.replace("ALLOWED", "'.annex, header, .skip'")) == []
        assert page.evaluate(TOO_WIDE.replace("ALLOWED", "'.scroll, header, .skip'")) == []
        boxes = page.evaluate("""[...document.querySelectorAll('.action .pairs dd, .first dd')]
            .map(e => e.getBoundingClientRect()).map(b => [b.left, b.right, b.height])""")
        assert len(boxes) > 10
        assert all(left >= 0 and right <= PHONE[0] and high > 0 for left, right, high in boxes)


def test_policy_holds(browser, tmp_path):
    """ensures that the policy in the file stops a script that got in all the same."""
    bad = render_html(model()).replace(
        b"</body>", b"<script>document.title = 'ran'</script></body>")
    with shown(browser, bad, tmp_path, DESK) as page:
        assert page.title() != "ran"
