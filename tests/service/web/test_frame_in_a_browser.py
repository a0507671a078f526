"""The frame of the pages in a real browser: the row, the keyboard, paper, and no connection."""

import io
import re
from collections.abc import Iterator

import pytest
from pypdf import PdfReader

from joulebook.web.navigation import ENTRIES
from tests.helpers.axe import violations
from tests.helpers.browser import Page
from tests.helpers.pages import Studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside

_ROW = "[...document.querySelectorAll('header.top li a')]"
#: Links of the row that are cut, leave the window, or are too small for a finger (WCAG 2.2, 2.5.5).
_CUT = f"""
{_ROW}.filter(each => {{
    const place = each.getBoundingClientRect();
    return each.scrollWidth > each.clientWidth || place.left < 0 || place.right > innerWidth
        || place.height < 44;
}}).map(each => each.textContent)
"""
_LINES = f"""
Object.values(Object.groupBy({_ROW}, each => each.getBoundingClientRect().top))
    .map(row => row.length)
"""
_KEPT = """
(async () => {
    const paths = [];
    for (const name of await caches.keys()) {
        for (const request of await (await caches.open(name)).keys()) {
            paths.push(new URL(request.url).pathname);
        }
    }
    return paths;
})()
"""
_FOCUS = """
(async () => {
    await new Promise(painted => requestAnimationFrame(() => requestAnimationFrame(painted)));
    const held = document.activeElement, style = getComputedStyle(held);
    const place = held.getBoundingClientRect();
    return [held.outerHTML.slice(0, 80), style.outlineStyle, parseFloat(style.outlineWidth) >= 2,
        place.top > -1 && place.bottom < innerHeight + 1];
})()
"""
_DRAWN = "document.querySelector('[data-figure]').dataset.drawn"


@pytest.fixture(scope="module")
def address(studio: Studio) -> Iterator[str]:
    with served(studio.client.app) as url:
        yield url


@pytest.fixture
def page(tab: Page) -> Iterator[Page]:
    tab.look_like()
    tab.complaints.clear()
    yield tab
    tab.cut_off(False)


def _next_stop(page: Page) -> list[object]:
    page.press("Tab")
    stop: list[object] = page.evaluate(_FOCUS)
    return stop


@pytest.fixture(scope="module")
def whole_row(studio: Studio) -> Iterator[None]:
    """All twelve entries, those too whose pages may be missing, with something set aside."""
    words = studio.client.app.state.backing.templates.globals  # type: ignore[attr-defined]
    shown, words["navigation"] = words["navigation"], ENTRIES
    yield
    words["navigation"] = shown


@pytest.mark.usefixtures("whole_row")
@pytest.mark.parametrize(("width", "per_line"), [(390, 4), (320, 3), (1280, 12)])
def test_the_row_is_calm_and_nothing_of_it_is_cut(
    page: Page, address: str, width: int, per_line: int
) -> None:
    page.look_like(width=width, height=800)
    page.go(f"{address}/sites/studio/checks")
    assert page.evaluate(_CUT) == []
    assert page.evaluate(_LINES) == [per_line] * (12 // per_line)


@pytest.mark.usefixtures("whole_row")
def test_the_row_is_whole_in_letters_of_twice_the_size(page: Page, address: str) -> None:
    # WCAG 2.2, 1.4.4: text of 200 % without loss of content.
    page.go(f"{address}/sites/studio/checks")
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert page.evaluate(_CUT) == []


def test_where_one_is_shows_without_colour(page: Page, address: str) -> None:
    # WCAG 2.2, 1.4.1; and colours that the reader forces on the page.
    page.go(f"{address}/sites/studio/checks")
    weights = f"{_ROW}.map(each => getComputedStyle(each).fontWeight)"
    marked = page.evaluate(f"{_ROW}.findIndex(each => each.ariaCurrent === 'page')")
    told = page.evaluate(weights)
    assert [place for place, weight in enumerate(told) if int(weight) > 500] == [marked]
    page.run(page.tab.emulate_media(forced_colors="active"))
    edges = page.evaluate(f"{_ROW}.map(each => getComputedStyle(each).borderBottomColor)")
    page.run(page.tab.emulate_media(forced_colors="none"))
    assert [place for place, edge in enumerate(edges) if edges.count(edge) == 1] == [marked]


@pytest.mark.parametrize("path", ["/sites/studio/checks", "/region"])
def test_the_keyboard_shows_where_it_is_all_the_way(page: Page, address: str, path: str) -> None:
    page.go(address + path)
    stops: set[str] = set()
    while not str((stop := _next_stop(page))[0]).startswith("<body"):  # once around
        assert stop[1:] == ["solid", True, True], stop
        stops.add(str(stop[0]))
        assert len(stops) < 100
    assert len(stops) > 6


def test_a_page_on_paper_holds_what_is_folded_and_no_links(page: Page, address: str) -> None:
    page.go(f"{address}/sites/studio/checks")
    sheets = PdfReader(io.BytesIO(page.printed())).pages
    words = " ".join(" ".join(sheet.extract_text() for sheet in sheets).split())
    assert 2 <= len(sheets) <= 6
    assert "Battery was last heard from" in words  # in a part that is closed on the screen
    assert "Inspected by, and when" in words
    assert "Look again" not in words
    assert "Set aside" not in words


def test_a_picture_is_printed_with_its_page(page: Page, address: str) -> None:
    page.go(f"{address}/sites/studio/days/2026-03-03")
    page.wait_for_figures()
    shown = "getComputedStyle(document.querySelector('figure.picture')).display"
    page.run(page.tab.emulate_media(media="print"))
    light = page.evaluate(shown)
    page.evaluate("document.querySelector('[data-figure]').dataset.drawn = 'dark'")
    dark = page.evaluate(shown)
    page.run(page.tab.emulate_media(media="screen"))
    assert (light, dark) == ("block", "none")


def test_a_picture_that_did_not_come_is_asked_for_again(page: Page, address: str) -> None:
    page.lose("**/plotly.min.js")
    page.go(f"{address}/sites/studio")
    page.wait_for(f"{_DRAWN} === 'missing'")
    again = "document.querySelector('.trouble button')"
    assert page.evaluate(f"{again}.checkVisibility()")
    assert page.evaluate("document.querySelector('table.totals').checkVisibility()")
    page.find_again("**/plotly.min.js")
    page.evaluate(f"{again}.click()")
    page.wait_for(f"{_DRAWN} === 'light'")
    assert not page.evaluate(f"{again}.checkVisibility()")
    assert page.evaluate("document.querySelectorAll('.plot .bars').length") > 0


def test_without_a_connection_a_notice_stands_for_every_page(page: Page, address: str) -> None:
    page.go(f"{address}/sites/studio")
    page.wait_for("navigator.serviceWorker.controller !== null")
    page.go(f"{address}/sites/studio/days/2026-03-03")
    page.wait_for_figures()
    kept = page.evaluate(_KEPT)
    # Neither a page nor a reading is kept, only the frame and when the house last answered.
    assert {path for path in kept if not path.startswith("/assets/")} == {"/heard"}
    assert not any("plotly" in path for path in kept)
    page.cut_off(True)
    page.go(f"{address}/sites/studio/checks")
    # Before it has looked the notice says that it does not know when.
    page.wait_for("document.querySelector('[data-since]').innerText.startsWith('It last answered')")
    words = page.evaluate("document.body.innerText")
    assert "No connection to the house" in words
    # Minutes, on a machine that is very busy.
    assert re.search(r"this device (less than a minute|\d+\u00a0min) ago", words)
    assert "kWh" not in words
    assert violations(page) == []
    page.cut_off(False)
    # Back in the network, the page that was asked for comes by itself.
    heading = page.tab.get_by_role("heading", name="Is it wired and talking right?")
    page.run(heading.wait_for())
