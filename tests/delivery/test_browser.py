"""The page in a browser: fonts as measured, nothing fetched, nothing over the edge at any width."""

from __future__ import annotations

from pathlib import Path

import pytest

from instep.delivery import write_sheet
from instep.delivery.lettering import LETTER, NAME, NOTE, TEXT, VALUE, text_width
from tests.browser import open_page
from tests.delivery.proofs import proved_sheet

WIDTHS = """[...document.querySelectorAll('svg text')].filter(t => t.getClientRects().length)
  .map(t => [t.classList[0], t.textContent, t.getComputedTextLength()])"""
SPILL = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
OVERLAPS = """(() => {
  const boxes = [...document.querySelectorAll('section.plate')].map(e => e.getBoundingClientRect());
  let count = 0;
  boxes.forEach((a, i) => boxes.slice(i + 1).forEach(b => {
    if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1) count += 1;
  }));
  return [boxes.length, count];
})()"""


SMALLEST = """(() => {
  let least = [1e9, ''];
  const seen = e => e.getClientRects().length && getComputedStyle(e).visibility !== 'hidden';
  document.querySelectorAll('body *').forEach(e => {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) || !seen(e)) return;
    if (['STYLE', 'TITLE'].includes(e.tagName) || e.closest('.unseen')) return;
    if (e.tagName === 'title' || e.tagName === 'desc') return;
    let size = parseFloat(getComputedStyle(e).fontSize);
    const svg = e.closest('svg');
    if (svg) size *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    if (size < least[0]) least = [size, e.textContent];
  });
  return least;
})()"""
LETTERS = """(() => {
  let found = [];
  document.querySelectorAll('svg').forEach(svg => {
    if (!svg.getClientRects().length) return;
    const boxes = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
    boxes.forEach(([one, a], i) => boxes.slice(i + 1).forEach(([two, b]) => {
      const air = 0.22 * (a.height + b.height); // a line of type is taller than its letters
      if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - air && b.top < a.bottom - air)
        found.push([one, two]);
    }));
  });
  return found;
})()"""
PLATES = 7


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "biped.html"
    write_sheet(proved_sheet(), path)
    return path


def test_the_page_in_a_browser(chromium: Path, sheet: Path) -> None:
    with open_page(chromium, 1280, 900) as page:
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(sheet.as_uri())
        page.evaluate("document.fonts.ready")
        assert [url for url in asked if not url.startswith("data:")] == [sheet.as_uri()]

        styles = {style.name: style for style in (NAME, TEXT, NOTE, VALUE, LETTER)}
        words = page.evaluate(WIDTHS)
        assert len(words) > 20
        for style, text, width in words:
            # kerning may draw letters together, so words may be a little narrower than their letters
            assert width <= text_width(text, styles[style]) + 0.5, text
            assert width >= 0.94 * text_width(text, styles[style]) - 0.5, text

        for width in (480, 800, 890, 1000, 1180, 1280, 1600, 2200):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate(SPILL) == 0, width
            assert page.evaluate(OVERLAPS) == [PLATES, 0], width
            assert page.evaluate(LETTERS) == [], width
            if width >= 880:
                size, words = page.evaluate(SMALLEST)
                assert size >= 11.99, f"{words!r} at {width}"


def test_the_page_prints_on_a4(chromium: Path, sheet: Path) -> None:
    with open_page(chromium, 1280, 900) as page:
        page.goto(sheet.as_uri())
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 718, "height": 1000})  # A4 within its margins
        assert page.evaluate(SPILL) == 0
        assert page.evaluate(OVERLAPS) == [PLATES, 0]
        assert page.evaluate(LETTERS) == []
        size, words = page.evaluate(SMALLEST)
        assert size * 72 / 96 >= 8.5, words
        assert page.pdf(prefer_css_page_size=True)[:5] == b"%PDF-"
