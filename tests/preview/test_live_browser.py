"""The live page in a real browser, served by the command itself."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import expect, sync_playwright
from test_live_page import CASE, PHOSPHORUS

CHROMIUM = shutil.which("chromium")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]
AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
FINDINGS = """axe.run(document, {resultTypes: ['violations'], iframes: false}).then(
    r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | ')))"""

pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture
def served(tmp_path):
    """The case file and the address that the command prints."""
    path = tmp_path / "case.yaml"
    path.write_text(CASE, encoding="utf-8")
    command = [sys.executable, "-m", "loambrief.cli", "preview", str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                          env={**os.environ, "PYTHONUNBUFFERED": "1"}) as server:
        line = server.stdout.readline()
        yield path, line.rpartition(": ")[2].strip(), server
        server.send_signal(signal.SIGINT)
        try:
            server.communicate(timeout=60)
        except subprocess.TimeoutExpired:
            server.kill()
            raise


def test_saved_texts_and_filled_forms_show_at_once(served):
    """ensures that a change saved in an editor shows without a hand on the page, that a filled
    form is written into the case and shows, that a download comes, that axe-core has no finding,
    that the browser asks no other host and reports nothing against the policy, and that Ctrl-C
    ends the command."""
    path, address, server = served
    asked, said = [], []
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, headless=True, args=ARGUMENTS)
        context = browser.new_context(bypass_csp=False)
        context.set_default_timeout(120_000)
        expect.set_options(timeout=120_000)
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.goto(address)
        assert "token" not in page.url
        advisory = page.frame_locator("#advisory")
        expect(advisory.locator("body")).to_contain_text("Creek Bottom")
        path.write_text(CASE.replace("tillage: no-till", "tillage: plough"), encoding="utf-8")
        expect(page.locator("#problems")).to_contain_text("CASE027")
        expect(advisory.locator("body")).to_contain_text("Creek Bottom")
        path.write_text(CASE.replace("name: Creek Bottom", "name: Long Meadow"), encoding="utf-8")
        expect(advisory.locator("body")).to_contain_text("Long Meadow")
        expect(page.locator("#problems")).not_to_contain_text("CASE027")
        with page.expect_download() as coming:
            page.get_by_role("link", name="live-1.pdf").click()
        assert Path(coming.value.path()).read_bytes().startswith(b"%PDF-")
        page.get_by_role("link", name="Readings and prices").click()
        box = page.locator(f'[id="{PHOSPHORUS}"]')
        expect(box).to_have_value("12")
        box.fill("15 pppm")
        page.get_by_role("button").click()
        expect(page.locator(".why")).to_contain_text("wanted a unit of ppm")
        page.locator(f'[id="{PHOSPHORUS}"]').fill("15")
        page.get_by_role("button").click()
        expect(page.locator(".said")).to_contain_text("Written into case.yaml.")
        assert "phosphorus: 15 ppm" in path.read_text(encoding="utf-8")
        host = address.partition("/?")[0]
        assert asked and {url[:len(host)] for url in asked if not url.startswith("data:")} == {host}
        assert not [line for line in said if "Content Security Policy" in line]
        checker = browser.new_context(bypass_csp=True, storage_state=context.storage_state())
        for place in ("/", "/form"):
            page = checker.new_page()
            page.goto(host + place)
            page.evaluate(AXE.read_text(encoding="utf-8"))
            assert page.evaluate(FINDINGS) == [], place
        browser.close()
    server.send_signal(signal.SIGINT)
    assert server.wait(60) == 130
