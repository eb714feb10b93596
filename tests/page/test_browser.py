"""The page in a real Chromium: what its console, its accessibility and its print say."""

from __future__ import annotations

import io
import shutil
from datetime import date
from pathlib import Path

import pytest

from meshlint.page.render import READERS, page
from meshlint.run import Checker

sync_api = pytest.importorskip("playwright.sync_api", reason="the extra `browser` is not installed")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="as playwright")
pypdf = pytest.importorskip("pypdf", reason="as playwright")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed here"),
]

SITE = Path(__file__).parents[2] / "samples" / "branches" / "harrowmere.site.yaml"
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory) -> str:
    checker = Checker(date(2026, 11, 25))
    found = checker.open(SITE.read_bytes(), str(SITE))
    text = page(found.workings, found.rules.facts, checker.judge(found), READERS, checker.today)
    file = tmp_path_factory.mktemp("page") / "site.html"
    file.write_text(text, encoding="utf-8")
    return file.as_uri()


@pytest.mark.parametrize(("scheme", "wide"), [("light", 1100), ("dark", 1100), ("light", 360)])
def test_it_opens_without_a_request_or_a_complaint_and_is_accessible(
    browser, address, scheme, wide
):
    """Rules: WCAG 2.2 A and AA as axe-core has them. 360 px is a phone's width."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": wide, "height": 800})
    shown = context.new_page()
    said, asked = [], []
    shown.on("console", lambda message: said.append(message.text))
    shown.on("pageerror", lambda error: said.append(str(error)))
    shown.on("request", lambda request: asked.append(request.url))
    shown.goto(address)
    size = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    assert shown.evaluate(size)
    found = axe.Axe().run(shown, options={"runOnly": WCAG}).response
    assert [(x["id"], x["nodes"][0]["html"]) for x in found["violations"]] == []
    assert len(found["passes"]) > 10
    assert said == []
    assert asked == [address]
    context.close()


def test_at_twice_the_size_nothing_is_pushed_out_of_the_page(browser, address):
    """A window of 1280 px at 200 % has 640 px of CSS (WCAG 2.2, 1.4.4 and 1.4.10)."""
    context = browser.new_context(viewport={"width": 640, "height": 400}, device_scale_factor=2)
    shown = context.new_page()
    shown.goto(address)
    size = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    assert shown.evaluate(size)
    context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_every_part_from_a_page_of_its_own_with_nothing_clipped(browser, address, paper):
    context = browser.new_context()
    shown = context.new_page()
    shown.goto(address)
    pages = pypdf.PdfReader(io.BytesIO(shown.pdf(format=paper))).pages
    texts = [" ".join(sheet.extract_text().split()) for sheet in pages]
    for title in ("For the installer", "For review"):
        assert [text for text in texts if title in text[:40]], title
    shown.emulate_media(media="print")
    shown.set_viewport_size({"width": 680, "height": 1000})  # A4 less its margins, at 96 dpi
    clipped = shown.evaluate(
        "[...document.querySelectorAll('.wide')].filter(x => x.scrollWidth > x.clientWidth + 1)"
        ".map(x => x.getAttribute('aria-label'))"
    )
    assert clipped == []
    units = Checker(date(2026, 11, 25)).open(SITE.read_bytes(), str(SITE)).site.units
    everything = " ".join(texts)
    assert [name for name in units if name not in everything] == []
    context.close()
