"""Photos in a real browser, with scripts and without: chosen, sent, seen and deleted."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.event_photos import photos_of
from joulebook.storage.events import Event, add_event
from tests.helpers.axe import violations
from tests.helpers.browser import Page
from tests.helpers.pages import NOW_MS, Studio
from tests.helpers.photos import drawn, phone_photo
from tests.helpers.served import served

pytestmark = pytest.mark.outside

_EVENTS = "/sites/studio/setup/events"
_SIZES = ((390, 844), (1280, 800))
_OVERFLOWS = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
#: Of the page's photos: how wide and high each is, in its file and on the page.
_SHOWN = """
[...document.querySelectorAll("main img")].map(each => [
    each.complete, each.naturalWidth, each.naturalHeight, each.alt,
    Math.round(100 * each.clientWidth / each.clientHeight)
])
"""
#: Of what a finger goes for: those less than 44 px high.
_LOW = """
[...document.querySelectorAll("main :is(input, button, .step, .photos a, .photo a)")]
    .filter(each => each.type !== "hidden" && each.getBoundingClientRect().height < 44)
    .map(each => each.outerHTML)
"""


@pytest.fixture
def house(heard: Studio) -> Iterator[str]:
    with closing(heard.database.connect()) as connection:
        lugs = Event(id=0, at_ms=NOW_MS, kind="wiring", title="Lugs tightened", made_ms=NOW_MS)
        add_event(connection, heard.site, lugs)
    with served(heard.client.app) as address:
        yield address


def send(page: Page, file: Path, caption: str, *, told: str) -> None:
    """Fill in the form, send it, and wait until the page tells something."""
    page.run(page.tab.fill("#caption", caption))
    page.run(page.tab.set_input_files("#photo", str(file)))
    page.run(page.tab.get_by_role("button", name="Add it", exact=True).click())
    wait_for(page, told)


def wait_for(page: Page, words: str) -> None:
    page.run(page.tab.get_by_text(words).first.wait_for())
    page.wait_for("[...document.querySelectorAll('main img')].every(each => each.complete)")


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_photo_is_sent_seen_and_deleted(
    tab: Page, house: str, heard: Studio, tmp_path: Path, scripts: bool
) -> None:
    tab.look_like(scripts=scripts)
    tab.complaints.clear()
    photo, words = tmp_path / "IMG_1.JPG", tmp_path / "words.txt"
    photo.write_bytes(phone_photo(drawn(1200, 900), turned=6))
    words.write_text("no photo")
    tab.go(house + _EVENTS)
    tab.run(tab.tab.get_by_role("link", name="Add a photo of Lugs tightened").click())
    wait_for(tab, "There is no photo of it yet.")
    assert tab.tab.url == f"{house}{_EVENTS}/1/photos"
    send(tab, words, "The lugs, tightened", told="The file is no photo that can be read here.")
    assert tab.run(tab.tab.input_value("#caption")) == "The lugs, tightened"
    send(tab, photo, "The lugs, tightened", told="There is one photo of it.")
    assert tab.tab.url == f"{house}{_EVENTS}/1/photos?done=added"
    assert tab.evaluate(_SHOWN) == [[True, 900, 1200, "The lugs, tightened", 75]]
    assert all("422" in each for each in tab.complaints)  # chromium notes the refusal itself
    tab.run(tab.tab.get_by_role("button", name="Delete the photo The lugs, tightened").click())
    wait_for(tab, "The photo is deleted.")
    with closing(heard.database.connect()) as connection:
        assert photos_of(connection, heard.site.id) == {}


def test_its_pages_fit_phone_and_desk_and_are_accessible(
    tab: Page, house: str, tmp_path: Path
) -> None:
    tab.look_like()
    tab.complaints.clear()
    for number, turned in enumerate((1, 6), start=1):
        photo = tmp_path / f"IMG_{number}.JPG"
        photo.write_bytes(phone_photo(drawn(1600, 1200), turned=turned))
        tab.go(f"{house}{_EVENTS}/1/photos")
        send(tab, photo, f"The lugs, side {number}", told="The photo is kept")
    for below, words, sizes in (
        ("/1/photos", "There are 2 photos of it.", [(1600, 1200), (1200, 1600)]),
        ("", "1 change is noted.", [(320, 240), (240, 320)]),
    ):
        for scheme in ("light", "dark"):
            for width, height in _SIZES:
                tab.look_like(
                    width=width, height=height, scheme="dark" if scheme == "dark" else "light"
                )
                tab.go(house + _EVENTS + below)
                wait_for(tab, words)
                assert violations(tab) == []
                assert not tab.evaluate(_OVERFLOWS)
                assert tab.evaluate(_LOW) == []
                there = tab.evaluate(_SHOWN)
                assert [(wide, high) for _, wide, high, _, _ in there] == sizes
                # As wide for its height on the page as in its file.
                assert [ratio for *_, ratio in there] == [133, 75]
        # WCAG 2.2, 1.4.10: without scrolling in two directions at a width of 320 CSS pixels.
        tab.look_like(width=320, height=640)
        assert not tab.evaluate(_OVERFLOWS)
    assert tab.complaints == []
    tab.look_like()
