"""The pages in a real Chromium without a network: nothing fetched, nothing complained of, readable, reachable."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from helpers_chromium import Page, chromium
from matwarden.report.pages import write_pages
from matwarden.terms import Unit
from night_examples import night_of
from page_examples import HOSTILE_NAMES, full_shelf, troubled_night

# The least that makes small text readable: WCAG 2.2, success criterion 1.4.3.
READABLE = 4.5
# And what makes a line or a bar discernible: criterion 1.4.11 (non-text contrast).
DISCERNIBLE = 3.0
PAGES = ("night-2026-01-15.html", "index.html", "nights-2026.html")
# 320 pixels: WCAG 2.2, success criterion 1.4.10 (reflow). The others are a phone and a desktop.
SIZES = ((320, 640), (360, 800), (1440, 900))
# Every piece of text with its colour and what lies behind it, opaque. Text in an SVG has a rim in the card's colour
# and may lie over the band, or over hours in which nothing was read.
TEXTS = """(() => {
  const parts = css => css.match(/[\\d.]+/g).map(Number);
  const found = [], areas = [...document.querySelectorAll('rect.band-area, rect.unread')];
  const fills = new Set(areas.map(each => getComputedStyle(each).fill));
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const behind = element => {
    let stack = [];
    for (let each = element; each; each = each.parentElement) stack.push(parts(getComputedStyle(each).backgroundColor));
    let colour = [255, 255, 255];
    for (const [r, g, b, a = 1] of stack.reverse()) colour = colour.map((c, i) => c + ([r, g, b][i] - c) * a);
    return colour;
  };
  while (walk.nextNode()) {
    const element = walk.currentNode.parentElement, text = walk.currentNode.data.trim();
    if (!text || !element.checkVisibility() || element.closest('title, desc')) continue;
    const style = getComputedStyle(element);
    if (element.namespaceURI.endsWith('svg')) {
      found.push([text, parts(style.fill), parts(style.stroke)]);
      for (const fill of fills) found.push([text, parts(style.fill), parts(fill)]);
    } else found.push([text, parts(style.color), behind(element)]);
  }
  return found;
})()"""
# Every line and bar of a strip with its colour, and what it may lie on.
MARKS = """(() => {
  const parts = css => css.match(/[\\d.]+/g).map(Number);
  const colour = (each, name) => parts(getComputedStyle(each)[name]);
  const card = colour(document.querySelector('.card'), 'backgroundColor');
  const found = [];
  for (const strip of document.querySelectorAll('.strip')) {
    const band = strip.querySelector('.band-area'), track = strip.querySelector('.track');
    for (const line of strip.querySelectorAll('path.mid, .edge-line')) {
      found.push([line.getAttribute('class'), colour(line, 'stroke'), card]);
      if (band) found.push([line.getAttribute("class"), colour(line, "stroke"), colour(band, "fill")]);
    }
    for (const bar of strip.querySelectorAll('.heat, .alarm'))
      for (const under of [card, ...(track ? [colour(track, 'fill')] : [])])
        found.push([bar.getAttribute('class'), colour(bar, 'fill'), under]);
  }
  return found;
})()"""
FOCUSED = """(() => {
  const here = document.activeElement, style = getComputedStyle(here);
  return [here.tagName, here.getAttribute('href') ?? here.textContent.trim(), style.outlineStyle,
          parseFloat(style.outlineWidth)];
})()"""
REACHABLE = """[...document.querySelectorAll('a[href], summary')].filter(each => each.checkVisibility())
  .map(each => each.getAttribute('href') ?? each.textContent.trim())"""


class Shelf(NamedTuple):
    """A page of the browser, and directories with pages in them."""

    page: Page
    ordinary: Path
    hostile: Path
    full: Path


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shelf]:
    base = tmp_path_factory.mktemp("www")
    with chromium(base / "profile") as browser:
        write_pages(base / "ordinary", night_of(date="2026-01-14"))
        write_pages(base / "ordinary", troubled_night(unit=Unit.F))
        write_pages(base / "hostile", troubled_night(HOSTILE_NAMES[:2]))
        write_pages(base / "full", full_shelf())
        yield Shelf(browser.page(), base / "ordinary", base / "hostile", base / "full")
    shutil.rmtree(base / "profile", ignore_errors=True)


def contrast(ink: list[float], paper: list[float]) -> float:
    """Contrast ratio of two sRGB colours, by the formulas of WCAG 2.2 (relative luminance, contrast ratio)."""

    def luminance(colour: list[float]) -> float:
        shares = [value / 255.0 for value in colour[:3]]
        red, green, blue = (s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    darker, lighter = sorted((luminance(ink), luminance(paper)))
    return (lighter + 0.05) / (darker + 0.05)


def wide_of(page: Page) -> tuple[int, int]:
    wide, room = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    return wide, room


def unreadable(page: Page) -> list[Any]:
    texts = page.evaluate(TEXTS)
    assert texts
    return [(text, ink, paper) for text, ink, paper in texts if contrast(ink, paper) < READABLE]


def named(page: Page, *roles: str) -> list[tuple[str, str]]:
    nodes = page.accessible()
    found = [(node["role"]["value"], node.get("name", {}).get("value", "")) for node in nodes]
    return [(role, name) for role, name in found if role in roles]


def test_contrast_is_computed_as_the_standard_says() -> None:
    """Black on white is 21:1, and #767676 the lightest grey that passes on white (4.54:1; WCAG's technique G18)."""
    assert contrast([0, 0, 0], [255, 255, 255]) == pytest.approx(21.0)
    assert contrast([0x76] * 3, [255, 255, 255]) == pytest.approx(4.54, abs=0.005)
    assert contrast([0x77] * 3, [255, 255, 255]) < READABLE


def test_these_checks_find_a_bad_page(shelf: Shelf, tmp_path: Path) -> None:
    """A page with a picture from afar, an error in its console, pale text and a wide table fails every one of them."""
    bad = tmp_path / "bad.html"
    bad.write_text(
        '<!doctype html><html lang="en"><title>Bad</title><p style="color:#aaa">pale</p><img src="http://127.0.0.1/x.png">'
        '<div style="width:2000px">wide</div><a href="#x"></a><script>console.error("x")</script>',
        encoding="ascii",
    )
    page = shelf.page
    page.open(bad)
    assert len(page.requested()) > 1
    assert page.complaints()
    assert wide_of(page)[0] > 360
    assert [text for text, *_ in unreadable(page)] == ["pale"]
    assert named(page, "link") == [("link", "")]


@pytest.mark.parametrize("kind", ["ordinary", "hostile", "full"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_page_needs_nothing_fits_and_can_be_read(shelf: Shelf, kind: str, scheme: str) -> None:
    """With no network: one request, for the file; an empty console; no sideways scrolling; contrast of 4.5 to 1."""
    directory: Path = getattr(shelf, kind)
    for name in PAGES:
        for wide, high in SIZES:
            shelf.page.open(directory / name, wide, high, scheme)
            assert shelf.page.requested() == [(directory / name).as_uri()]
            assert shelf.page.complaints() == []
            assert wide_of(shelf.page)[0] <= wide, (name, wide)
            assert unreadable(shelf.page) == [], (name, wide)


def test_opened_tables_fit_too(shelf: Shelf) -> None:
    """The hours of a tub have more columns than a phone is wide: they scroll in their own frame, the page does not."""
    shelf.page.open(shelf.hostile / PAGES[0])
    shelf.page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert wide_of(shelf.page)[0] <= 360
    assert unreadable(shelf.page) == []
    frames = "[...document.querySelectorAll('.scroll')].map(each => each.tabIndex)"
    assert shelf.page.evaluate(frames) == [0, 0]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_and_bars_stand_out(shelf: Shelf, scheme: str) -> None:
    """Each line against the card and the band, each bar against what lies under it: 3 to 1."""
    shelf.page.open(shelf.ordinary / PAGES[0], scheme=scheme)
    marks = shelf.page.evaluate(MARKS)
    assert {"mid wall", "mid air moist", "mid substrate", "mid room", "heat", "alarm"} <= {kind for kind, *_ in marks}
    assert [(kind, *colours) for kind, *colours in marks if contrast(*colours) < DISCERNIBLE] == []


def test_light_and_dark_are_not_the_same(shelf: Shelf) -> None:
    """The page follows what the keeper's phone prefers."""
    seen = []
    for scheme in ("light", "dark"):
        shelf.page.open(shelf.ordinary / PAGES[0], scheme=scheme)
        seen.append(shelf.page.evaluate("getComputedStyle(document.body).backgroundColor"))
    assert seen[0] != seen[1]


@pytest.mark.parametrize("name", PAGES[:2])
def test_the_keyboard_reaches_everything_in_order(shelf: Shelf, name: str) -> None:
    """Tab goes to the skip link first, then to each link and fold as they stand, and it can be seen where it is."""
    page = shelf.page
    page.open(shelf.ordinary / name)
    wanted = page.evaluate(REACHABLE)
    assert len(wanted) > 2
    seen = []
    for _ in wanted:
        page.press_tab()
        tag, what, outline, width = page.evaluate(FOCUSED)
        seen.append(what)
        assert outline != "none", what
        assert width >= 2.0, what
    assert seen == wanted
    assert seen[0] == "#main"


def test_the_skip_link_shows_itself_and_leads_to_the_night(shelf: Shelf) -> None:
    """Hidden until it has the focus; followed, the focus is where the night begins."""
    page = shelf.page
    page.open(shelf.ordinary / PAGES[0])
    left = "document.querySelector('.skip').getBoundingClientRect().left"
    assert page.evaluate(left) < 0
    page.press_tab()
    assert page.evaluate(left) >= 0
    page.evaluate("document.activeElement.click()")
    assert page.evaluate("document.activeElement.id") == "main"


@pytest.mark.parametrize("name", PAGES[:2])
def test_a_screen_reader_finds_its_way(shelf: Shelf, name: str) -> None:
    """Language, landmarks, one first heading and no level left out, and a name for whatever needs one."""
    page = shelf.page
    page.open(shelf.ordinary / name)
    assert page.evaluate("document.documentElement.lang") == "en"
    assert {role for role, _ in named(page, "banner", "navigation", "main")} == {"banner", "navigation", "main"}
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(each => Number(each.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))
    needing = named(page, "image", "link", "heading", "table", "columnheader", "rowheader", "region", "article")
    assert [role for role, what in needing if not what.strip()] == []


def test_pictures_are_told_in_words(shelf: Shelf) -> None:
    """Each strip is an image that says of what, and beside it the numbers are in a table with heads."""
    page = shelf.page
    page.open(shelf.ordinary / PAGES[0])
    told = [name for _, name in named(page, "image")]
    assert len(told) == 3
    assert told[0] == "Temperature of air moist, wall, substrate, room against the band of 72.0 to 82.0 °F"
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert ("columnheader", "air moist, °F") in named(page, "columnheader")
    assert page.evaluate("[...document.querySelectorAll('th')].every(each => each.scope)") is True


def test_any_web_server_can_serve_them(shelf: Shelf) -> None:
    """Over plain HTTP, here Python's own server: index, night, the night before, back; nothing else is asked for."""
    asked: list[str] = []

    class Noted(SimpleHTTPRequestHandler):
        def log_message(self, format: str, *args: Any) -> None:
            asked.append(self.path)

    page = shelf.page
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Noted, directory=str(shelf.ordinary))) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page.online(True)
        try:
            page.open_address(f"http://127.0.0.1:{server.server_port}/index.html")
            page.follow("document.querySelector('.nights a')")
            page.follow("document.querySelector('a[rel=prev]')")
            page.follow("document.querySelector('nav a')")
            assert page.evaluate("document.querySelector('h1').textContent") == "The newest nights"
        finally:
            page.online(False)
            server.shutdown()
    assert asked == ["/index.html", "/night-2026-01-15.html", "/night-2026-01-14.html", "/index.html"]


def test_names_are_text_whatever_they_hold(shelf: Shelf) -> None:
    """Markup in a tub's name is shown as it was written, and makes no element."""
    page = shelf.page
    page.open(shelf.hostile / PAGES[0])
    assert page.evaluate("document.querySelector('h3').textContent") == HOSTILE_NAMES[0]
    assert page.evaluate("document.querySelectorAll('script, article b[onmouseover]').length") == 0
