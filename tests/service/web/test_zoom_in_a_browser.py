"""A closer look at a day in a real browser: by links, by keys, by a mouse, and without scripts."""

from collections.abc import Iterator
from contextlib import closing

import pytest

from tests.helpers.browser import Page, opened_page
from tests.helpers.databases import write
from tests.helpers.pages import NOW_MS, Studio, measured_studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside

_DAY = "/sites/studio/days/2026-03-02"
_POINTS = "document.querySelector('[data-figure]').data[1].y.filter(y => y !== null)"
_DRAWN = "document.querySelector('[data-figure]').layout.xaxis.range[1]"


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio, its use read every two seconds on a morning, with one short peak."""
    studio = measured_studio(tmp_path_factory.mktemp("zoomed"))
    start_ms = NOW_MS - 2 * 86_400_000 - 5 * 3_600_000  # Monday 2 March, 07:00
    rows = {start_ms + n * 2_000: {"power": 1000.0 + n % 7} for n in range(3_600)}
    rows[start_ms + 1_801 * 2_000] = {"power": 6_000.0}
    with closing(studio.database.connect()) as connection:
        write(connection, studio.site, "load", rows)
    return studio


@pytest.fixture(scope="module")
def address(own: Studio) -> Iterator[str]:
    with served(own.client.app) as url:
        yield url


@pytest.fixture(scope="module")
def tab() -> Iterator[Page]:
    with opened_page() as page:
        yield page


@pytest.fixture
def phone(tab: Page, address: str) -> Page:
    tab.look_like()
    tab.complaints.clear()
    tab.go(address + _DAY)
    tab.wait_for_figures()
    return tab


def test_a_link_shows_a_part_in_place_and_asks_for_finer_data(phone: Page) -> None:
    whole = phone.evaluate(f"{_POINTS}.length")
    assert whole <= 2 * 342 + 4
    assert phone.evaluate(f"Math.max(...{_POINTS})") == 6  # kW: the peak of two seconds is there
    phone.evaluate("window.stays = true; scrollTo(0, document.querySelector('.zoom').offsetTop)")
    top = phone.evaluate("scrollY")
    plot = "document.querySelector('.plot').getBoundingClientRect()"
    before = phone.evaluate(f"[{plot}.top, {plot}.height]")
    phone.evaluate("document.querySelector('[data-step=closer]').click()")
    phone.wait_for(f"{_DRAWN} === 43200")
    assert phone.evaluate("location.search") == "?from=06:00&to=18:00"
    assert phone.evaluate("window.stays") is True
    # Nothing jumps.
    assert phone.evaluate("scrollY") == top
    assert phone.evaluate(f"[{plot}.top, {plot}.height]") == pytest.approx(before, abs=1)
    assert "06:00 to 18:00" in phone.evaluate("document.querySelector('.zoom').innerText")
    phone.evaluate("document.querySelector('[data-step=closer]').click()")
    phone.wait_for(f"{_DRAWN} === 21600")
    assert phone.complaints == []


def test_an_hour_of_the_table_opens_it(phone: Page) -> None:
    phone.evaluate("document.querySelector('[data-renewed=rows] details').open = true")
    phone.evaluate("document.querySelectorAll('[data-step=part]')[8].click()")
    phone.wait_for(f"{_DRAWN} === 3600")
    assert phone.evaluate("location.search") == "?from=08:00&to=09:00"
    table = phone.evaluate("document.querySelector('[data-renewed=rows] table').innerText")
    assert "6.00" in table  # the greatest
    # Of the 1,800 readings of this hour those that the picture can show, the peak among them.
    assert 600 < phone.evaluate(f"{_POINTS}.length") <= 2 * 342 + 4
    assert phone.evaluate(f"Math.max(...{_POINTS})") == 6


def test_the_keyboard_reaches_it_and_stays_where_it_is(phone: Page) -> None:
    phone.evaluate("document.querySelector('[data-step=closer]').focus()")
    phone.press("Enter")
    phone.wait_for(f"{_DRAWN} === 43200")
    phone.wait_for("document.activeElement.dataset.step === 'closer'")
    phone.press("Enter")
    phone.wait_for(f"{_DRAWN} === 21600")
    phone.evaluate("document.querySelector('[data-step=whole]').focus()")
    phone.press("Enter")
    phone.wait_for(f"{_DRAWN} === 86400")
    assert phone.evaluate("location.search") == ""
    # "Whole day" is a link no more; the keyboard goes on from those that are.
    phone.wait_for("document.activeElement.dataset.step === 'closer'")


def test_a_mouse_draws_a_part(tab: Page, address: str) -> None:
    tab.look_like(width=1280, height=800, mobile=False)
    tab.complaints.clear()
    tab.go(address + _DAY)
    tab.wait_for_figures()
    tab.evaluate("document.querySelector('.plot').scrollIntoView()")
    box = tab.evaluate(
        "(({x, y, width, height}) => [x, y, width, height])"
        "(document.querySelector('.plot .nsewdrag').getBoundingClientRect())"
    )
    x, y, width, height = box
    mouse = tab.tab.mouse
    tab.run(mouse.move(x + width / 4, y + height / 2))
    tab.run(mouse.down())
    tab.run(mouse.move(x + width / 2, y + height / 2, steps=5))
    tab.run(mouse.up())
    tab.wait_for(f"Math.abs({_DRAWN} - 21600) < 300")
    tab.wait_for("location.search.startsWith('?from=0')")
    assert tab.complaints == []


def test_what_does_not_come_in_place_comes_as_a_page(phone: Page, address: str) -> None:
    phone.evaluate("window.stays = true; window.fetch = () => Promise.reject(new Error('away')); 0")
    phone.evaluate("document.querySelector('[data-step=closer]').click()")
    phone.run(phone.tab.wait_for_url(f"{address}{_DAY}?from=06:00&to=18:00#zoom"))
    phone.wait_for_figures()
    assert phone.evaluate("window.stays") is None
    assert phone.evaluate(_DRAWN) == 43_200


def test_without_scripts_the_links_show_the_part(tab: Page, address: str) -> None:
    tab.look_like(scripts=False)
    tab.go(f"{address}{_DAY}?from=07:00&to=09:00")
    text = tab.evaluate("document.body.innerText")
    assert "07:00 to 09:00" in text
    assert "6.00" in text  # the greatest use of these two hours, kW
    assert tab.evaluate("document.querySelector('[data-step=later]').getAttribute('href')") == (
        f"{_DAY}?from=09:00&to=11:00#zoom"
    )
