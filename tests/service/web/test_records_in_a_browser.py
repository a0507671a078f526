"""The pages of a site's whole record in a real browser."""

from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from tests.helpers.browser import Page
from tests.helpers.pages import Studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside

#: Which fixture has the record, and the page.
_PAGES = (
    ("long", "efficiency"),
    ("long", "wear"),
    ("long", "warranty"),
    ("short", "efficiency?stretches=all"),
    ("short", "wear?nights=2026"),
    ("shallow", "wear"),
    ("shallow", "warranty"),
    ("studio", "wear"),
)
_SMALL_TARGETS = """
[...document.querySelectorAll("nav a, table a, summary, .step, .name a, footer a")]
    .filter(each => each.getBoundingClientRect().height < 44)
    .map(each => each.outerHTML)
"""
_DRAWN = "[...document.querySelectorAll('[data-figure]')].map(each => each.dataset.drawn)"
_WIDTH = "document.documentElement.scrollWidth"
#: A figure that is taller than the room held for it pushes what is below it.
_OUT_OF_ROOM = """
[...document.querySelectorAll('.plot')].filter(place =>
    Math.abs(place.getBoundingClientRect().height - parseFloat(getComputedStyle(place).minHeight))
    > 2).map(place => place.dataset.figure)
"""


@pytest.fixture(scope="module")
def addresses(
    long: Studio, short: Studio, shallow: Studio, studio: Studio
) -> Iterator[dict[str, str]]:
    studios = {"long": long, "short": short, "shallow": shallow, "studio": studio}
    with ExitStack() as stack:
        yield {
            name: stack.enter_context(served(each.client.app)) + "/sites/studio/"
            for name, each in studios.items()
        }


@pytest.mark.parametrize(("name", "page"), _PAGES)
def test_a_page_fits_every_width_and_its_console_is_silent(
    tab: Page, addresses: dict[str, str], name: str, page: str
) -> None:
    tab.complaints.clear()
    for width, height, scheme in ((390, 844, "light"), (1280, 800, "dark")):
        tab.look_like(width=width, height=height, scheme="dark" if scheme == "dark" else "light")
        tab.go(addresses[name] + page)
        tab.wait_for_figures()
        assert tab.evaluate(_WIDTH) == width
        assert set(tab.evaluate(_DRAWN)) <= {scheme}
        assert tab.evaluate(_OUT_OF_ROOM) == []
        assert tab.evaluate(_SMALL_TARGETS) == []
    # WCAG 2.2, 1.4.10: without scrolling in two directions at a width of 320 CSS pixels.
    tab.look_like(width=320)
    tab.go(addresses[name] + page)
    assert tab.evaluate(_WIDTH) == 320
    assert tab.complaints == []


def test_what_is_folded_fits_too(tab: Page, addresses: dict[str, str]) -> None:
    tab.look_like()
    for page in ("efficiency", "wear", "warranty"):
        tab.go(addresses["long"] + page)
        tab.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        assert tab.evaluate(_WIDTH) == 390


def test_the_top_row_names_all_questions_within_the_window(
    tab: Page, addresses: dict[str, str]
) -> None:
    rows = """
    Object.values(Object.groupBy([...document.querySelectorAll('header.top li a')],
        each => each.getBoundingClientRect().top)).map(row => row.map(each => each.textContent))
    """
    tab.look_like()
    tab.go(addresses["long"] + "wear")
    lengths = [len(row) for row in tab.evaluate(rows)]
    assert len(set(lengths[:-1])) == 1
    assert lengths[-1] <= lengths[0] <= 5
    assert tab.evaluate(_WIDTH) == 390
    tab.look_like(width=1280, height=800)
    tab.go(addresses["long"] + "wear")
    (row,) = tab.evaluate(rows)
    assert {"This week", "Efficiency", "Wear", "Warranty"} <= set(row)


def test_a_page_is_complete_without_scripts(tab: Page, addresses: dict[str, str]) -> None:
    tab.look_like(scripts=False)
    tab.go(addresses["long"] + "warranty")
    text = tab.evaluate("document.body.textContent")
    tab.look_like()
    assert "very likely to hold" in text
    assert "The picture as a table" in text
