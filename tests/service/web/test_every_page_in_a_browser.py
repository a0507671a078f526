"""Every page in a real browser, on phone and desk, whatever its site's data are like.

A picture of each stays in the folder named by ``TEST_PICTURES``, or in ``artefacts/pictures``.
"""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.helpers.axe import violations
from tests.helpers.browser import Page
from tests.helpers.site_pages import other_paths, paths, paths_of_the_row

pytestmark = pytest.mark.outside

_KINDS = ("demo", "empty", "gaps", "refused", "bad-line")
_SIZES = ((390, 844), (1280, 800))
#: The row's pages of sites of every kind; the others, which show little of a site's data, of one.
_VISITS = (
    *((kind, path) for kind in _KINDS for path in paths_of_the_row()),
    *(("demo", path) for path in other_paths()),
    ("gaps", "/sites/{site}?week=2026-W09"),
    ("gaps", "/sites/{site}/days/2026-03-03"),  # six hours are missing
    ("gaps", "/sites/{site}/days/2026-03-01"),  # nothing was measured
    ("gaps", "/sites/{site}/rehearsal?from=2026-03-04T11:00:00Z"),
    ("gaps", "/api/docs"),
)
#: Pages for what went wrong: no such page, no such site, not a date.
_TROUBLES = ("/nothing", "/sites/none", "/sites/{site}/days/2026-02-30")
#: What a bad line loses: the chart script, and the figures' documents.
_LOST = ("**/plotly.min.js", "**/figures/**")
_HEADLINE = """
(() => {
    const heading = document.querySelector("main h1"), place = heading.getBoundingClientRect();
    return heading.innerText.trim() !== "" && place.top >= 0 && place.bottom <= innerHeight;
})()
"""
#: Whatever a finger goes for; links within a sentence are exempt (WCAG 2.2, 2.5.5).
_SMALL_TARGETS = """
[...document.querySelectorAll(
    "nav a, table a, summary, button, .again a, .step, .name a, .who a, footer a, main li > a"
)].filter(each => each.checkVisibility() && each.getBoundingClientRect().height < 44)
    .map(each => each.outerHTML)
"""
_SHOWN = "[...document.querySelectorAll('[data-figure]')].map(each => each.dataset.drawn)"


@pytest.fixture
def page(tab: Page) -> Iterator[Page]:
    tab.look_like()
    tab.complaints.clear()
    yield tab
    for pattern in _LOST:
        tab.find_again(pattern)


def _name(path: str) -> str:
    words = re.sub(r"[^\w]+", "-", path.replace("/sites/{site}", "site")).strip("-")
    return words or "home"


def _keep(page: Page, name: str) -> None:
    folder = Path(os.environ.get("TEST_PICTURES", "artefacts/pictures"))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.png").write_bytes(page.picture(whole=True))


def _wait_until_it_fits(page: Page, width: int) -> None:
    # Pictures follow a change of the width some frames later.
    page.wait_for(f"innerWidth === {width} && document.documentElement.scrollWidth === {width}")


@pytest.mark.parametrize(("kind", "path"), _VISITS)
def test_a_page_fits_tells_its_answer_first_and_its_console_is_silent(
    page: Page, addresses: dict[str, str], kind: str, path: str
) -> None:
    if kind == "bad-line":
        for pattern in _LOST:
            page.lose(pattern)
    assert page.go(addresses[kind] + path.format(site="studio")) == 200
    page.wait_for_figures()
    for width, height in _SIZES:
        page.look_like(width=width, height=height)
        _wait_until_it_fits(page, width)
        assert page.evaluate(_HEADLINE)
        assert page.evaluate(_SMALL_TARGETS) == []
        _keep(page, f"{_name(path)}-{kind}-{width}")
    # WCAG 2.2, 1.4.10: without scrolling in two directions at a width of 320 CSS pixels.
    page.look_like(width=320)
    _wait_until_it_fits(page, 320)
    assert violations(page) == []
    drawn = page.evaluate(_SHOWN)
    assert set(drawn) <= {"missing" if kind == "bad-line" else "light"}
    lost = [each for each in page.complaints if "ERR_CONNECTION_FAILED" in each]
    assert [each for each in page.complaints if each not in lost] == []
    assert bool(lost) == (kind == "bad-line" and bool(drawn))


@pytest.mark.parametrize("path", [*paths(), *_TROUBLES])
def test_axe_finds_nothing_in_light_and_dark(
    page: Page, addresses: dict[str, str], path: str
) -> None:
    page.go(addresses["demo"] + path.format(site="studio"))
    page.wait_for_figures()
    for scheme in ("light", "dark"):
        for width, height in _SIZES:
            page.look_like(
                width=width, height=height, scheme="dark" if scheme == "dark" else "light"
            )
            page.wait_for(f"{_SHOWN}.every(scheme => scheme === '{scheme}')")
            assert violations(page) == []


def test_axe_finds_what_is_planted(page: Page, addresses: dict[str, str]) -> None:
    page.go(f"{addresses['demo']}/about")
    page.evaluate(
        "document.querySelector('main').append(document.createElement('img'));"
        "document.querySelector('h2').style.color = '#eeeeee';"
    )
    found = " ".join(violations(page))
    # axe's rules: https://dequeuniversity.com/rules/axe/
    assert "image-alt" in found
    assert "color-contrast" in found
