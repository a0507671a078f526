"""The pages in a real browser of a phone's width."""

import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.helpers.browser import Page, screenshot
from tests.helpers.databases import write
from tests.helpers.pages import NOW_MS, Studio, measured_studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A studio of this module's own, which a test may write to."""
    return measured_studio(tmp_path_factory.mktemp("browsed"))


@pytest.fixture(scope="module")
def address(own: Studio) -> Iterator[str]:
    with served(own.client.app) as url:
        yield url


@pytest.fixture
def phone(tab: Page) -> Page:
    """A phone of 390 px in the light, whose console has said nothing yet."""
    tab.look_like()
    tab.complaints.clear()
    return tab


def test_the_figures_are_drawn_by_plotly(phone: Page, address: str) -> None:
    phone.go(f"{address}/sites/studio/days/2026-03-03")
    phone.wait_for_figures()
    assert phone.evaluate("document.querySelectorAll('.plot .scatterlayer .trace').length") == 5
    # The figure keeps the room that the page held for it: nothing below it moves.
    height = phone.evaluate("document.querySelector('.plot').getBoundingClientRect().height")
    assert height == pytest.approx(708, abs=2)


def test_a_figure_follows_the_change_from_light_to_dark(phone: Page, address: str) -> None:
    phone.go(f"{address}/sites/studio")
    phone.wait_for_figures()
    phone.look_like(scheme="dark")
    phone.wait_for("document.querySelector('[data-figure]').dataset.drawn === 'dark'")
    assert phone.complaints == []


def test_a_figure_that_does_not_come_leaves_a_sentence(phone: Page, address: str) -> None:
    phone.go(f"{address}/sites/studio")
    phone.wait_for_figures()
    phone.evaluate(
        "document.querySelector('[data-figure]').dataset.figure = '/sites/studio/figures/none';"
    )
    phone.look_like(scheme="dark")
    phone.wait_for("document.querySelector('[data-figure]').dataset.drawn === 'missing'")
    assert "The numbers on this page are complete." in phone.evaluate("document.body.innerText")


def test_a_page_is_complete_without_scripts(phone: Page, address: str) -> None:
    phone.look_like(scripts=False)
    phone.go(f"{address}/sites/studio?week=2026-W09")
    text = phone.evaluate("document.body.innerText")
    assert "the panels made 216" in text
    assert "The picture needs scripts." in text
    # No room is held for a picture that will not come.
    assert phone.evaluate("document.querySelector('.plot').getBoundingClientRect().height") == 0


def test_new_readings_show_by_themselves(phone: Page, address: str, own: Studio) -> None:
    phone.go(f"{address}/sites/studio")
    with closing(own.database.connect()) as connection:
        write(connection, own.site, "pv", {NOW_MS - 2_000: {"power": 2_340.0}})
    shown = "document.querySelector('[data-headline=pv]').textContent.includes('2.34')"
    phone.wait_for(shown)
    heard = phone.evaluate("document.querySelector('[data-heard=pv]').textContent")
    assert heard == "2\u00a0s ago"
    assert phone.complaints == []


def test_a_service_that_is_away_is_said_to_be(phone: Page, own: Studio) -> None:
    with served(own.client.app) as url:
        phone.go(f"{url}/sites/studio")
        phone.wait_for_figures()
    phone.wait_for(
        "document.querySelector('[data-live-status]').textContent.startsWith('No answer')"
    )


def test_the_focus_of_the_keyboard_is_visible(phone: Page, address: str) -> None:
    phone.go(f"{address}/sites/studio")
    phone.press("Tab")
    assert phone.evaluate("document.activeElement.textContent") == "Skip to the content"
    style = "getComputedStyle(document.activeElement)"
    assert phone.evaluate(f"{style}.outlineStyle") == "solid"
    assert phone.evaluate("document.activeElement.getBoundingClientRect().left") >= 0


def test_a_picture_of_a_page_has_the_size_that_was_asked_for(address: str, tmp_path: Path) -> None:
    picture = tmp_path / "week.png"
    screenshot(f"{address}/sites/studio", picture, width=390, height=844, scale=2)
    # PNG specification (ISO/IEC 15948), IHDR: width and height at bytes 16 to 24.
    assert struct.unpack(">II", picture.read_bytes()[16:24]) == (780, 1688)
    screenshot(f"{address}/sites/studio", picture, whole=True)
    width, height = struct.unpack(">II", picture.read_bytes()[16:24])
    assert width == 390
    assert height > 2_000


def test_a_script_that_gets_into_a_page_does_not_run(phone: Page, address: str) -> None:
    phone.go(f"{address}/about")
    phone.evaluate(
        "const script = document.createElement('script');"
        "script.textContent = 'window.ran = true'; document.body.append(script);"
    )
    assert phone.evaluate("window.ran") is None
    assert any("Content Security Policy" in complaint for complaint in phone.complaints)


def test_what_a_console_says_is_heard(phone: Page, address: str) -> None:
    phone.go(f"{address}/about")
    phone.evaluate(
        "console.log('all is well'); console.error('first');"
        "setTimeout(() => { window.thrown = true; throw Error('second'); })"
    )
    phone.wait_for("window.thrown")
    assert "first" in phone.complaints[0]
    assert "second" in phone.complaints[1]
