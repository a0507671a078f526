"""Forms in a real browser: filled in by keyboard alone, without scripts, and printed."""

from collections.abc import Iterator
from contextlib import closing
from io import BytesIO

import pytest
from pypdf import PdfReader

from joulebook.storage.catalogue import site_named
from joulebook.storage.corrections import corrections_of
from joulebook.storage.events import events_of
from joulebook.storage.sign_offs import SignOff, sign_offs_of
from tests.helpers.axe import violations
from tests.helpers.browser import Page
from tests.helpers.pages import Studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside

_SETUP = "/sites/studio/setup"
_PAGES = (
    *(f"{_SETUP}{below}" for below in ("", "/site", "/terms", "/devices", "/events")),
    *(f"{_SETUP}/corrections", f"{_SETUP}/sign-off", "/setup/new-site"),
)
_FOCUSED = "document.activeElement.id || document.activeElement.innerText"
#: Of what can be pressed or written into: those less than 44 px high, but for boxes to tick.
_LOW = """
[...document.querySelectorAll("main :is(input, select, textarea, button)")]
    .filter(each => !["hidden", "checkbox"].includes(each.type))
    .filter(each => each.checkVisibility() && each.getBoundingClientRect().height < 44)
    .map(each => each.id || each.innerText)
"""
_OVERFLOWS = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture
def house(heard: Studio) -> Iterator[str]:
    with served(heard.client.app) as address:
        yield address


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def page(tab: Page, request: pytest.FixtureRequest) -> Page:
    tab.look_like(scripts=request.param)
    tab.complaints.clear()
    return tab


def write(page: Page, **entered: str) -> None:
    for name, text in entered.items():
        page.run(page.tab.fill(f"#{name}", text))


def click(page: Page, words: str) -> None:
    page.run(page.tab.get_by_role("button", name=words, exact=True).click())
    page.run(page.tab.wait_for_load_state())


def shown(page: Page) -> str:
    return page.run(page.tab.inner_text("main"))


def value(page: Page, name: str) -> str:
    return page.run(page.tab.input_value(f"#{name}"))


def tab_to(page: Page, wanted: str) -> None:
    """Press Tab until something has the focus, as somebody without a mouse does."""
    for _ in range(60):
        page.press("Tab")
        if page.evaluate(_FOCUSED) == wanted:
            return
    pytest.fail(f"Tab never comes to {wanted}")  # pragma: no cover -- only where it is broken


def test_a_wrong_value_is_kept_with_its_fault_and_the_right_one_is_saved(
    page: Page, house: str, heard: Studio
) -> None:
    page.go(f"{house}{_SETUP}/terms")
    write(page, warranty_years="ten", warranty_floor_ratio="70", charge_low_c="0")
    click(page, "Save")
    assert "One thing needs another look" in shown(page)
    assert (value(page, "warranty_years"), value(page, "warranty_floor_ratio")) == ("ten", "70")
    wrong = page.tab.locator("#warranty_years")
    assert page.run(wrong.get_attribute("aria-invalid")) == "true"
    told = page.run(wrong.get_attribute("aria-describedby")) or ""
    assert "A number from 0.1 to 100." in page.run(page.tab.inner_text(f"#{told.split()[-1]}"))
    assert site_named(heard.database, "studio").warranty_floor_ratio is None
    write(page, warranty_years="10")
    click(page, "Save")
    assert page.tab.url == f"{house}{_SETUP}?done=terms"
    site = site_named(heard.database, "studio")
    assert (site.warranty_years, site.warranty_floor_ratio, site.charge_low_c) == (10.0, 0.7, 0.0)
    assert all("422" in each for each in page.complaints)  # chromium notes the refusal itself


def test_the_link_of_a_fault_leads_to_its_field(page: Page, house: str) -> None:
    page.go(f"{house}{_SETUP}/terms")
    write(page, charge_max_v="much")
    click(page, "Save")
    page.run(page.tab.get_by_role("link", name="Charging: highest voltage").click())
    assert page.evaluate(_FOCUSED) == "charge_max_v"


def test_a_correction_is_made_after_a_look_at_what_it_does(
    page: Page, house: str, heard: Studio
) -> None:
    page.go(f"{house}{_SETUP}/corrections")
    page.run(page.tab.select_option("#series", "battery/power"))
    page.run(page.tab.select_option("#kind", "scale"))
    write(page, value="0,5", note="Two clamps in one")
    click(page, "Show what it does")
    assert "The newest reading, 400 W, would count as 200 W." in shown(page).replace("\xa0", " ")
    with closing(heard.database.connect()) as connection:
        assert corrections_of(connection, heard.site.id) == []
        click(page, "Make this correction")
        (made,) = corrections_of(connection, heard.site.id)
        assert (made.kind, made.value, made.note) == ("scale", 0.5, "Two clamps in one")
        click(page, "Withdraw correction 1")
        assert corrections_of(connection, heard.site.id) == []


def test_an_event_is_noted_by_keyboard_alone(tab: Page, house: str, heard: Studio) -> None:
    tab.look_like(width=1280, height=800)
    tab.go(f"{house}/sites/studio/days/2026-03-03")
    tab_to(tab, "Note what you changed on this day")
    tab.press("Enter")
    tab_to(tab, "title")
    tab.run(tab.tab.keyboard.type("Lugs tightened"))
    tab.press("Tab")
    tab.run(tab.tab.keyboard.type("Wir"))  # a select goes to the option that begins so
    tab_to(tab, "note")
    tab.run(tab.tab.keyboard.type("6 Nm, by the label"))
    tab_to(tab, "Note it")
    tab.press("Enter")
    tab.run(tab.tab.wait_for_url("**/days/2026-03-03?done=noted"))
    with closing(heard.database.connect()) as connection:
        (event,) = events_of(connection, heard.site.id)
    assert (event.title, event.kind, event.note) == (
        "Lugs tightened",
        "wiring",
        "6 Nm, by the label",
    )
    assert "Lugs tightened" in shown(tab)


def _signed(page: Page, house: str, studio: Studio) -> SignOff:
    page.go(f"{house}{_SETUP}/sign-off")
    for field in page.run(page.tab.locator("textarea[required]").all()):
        page.run(field.fill("Seen at the equipment, and mended."))
    write(page, name="Ana Moura")
    page.run(page.tab.select_option("#role", "installer"))
    click(page, "Sign this off")
    with closing(studio.database.connect()) as connection:
        return sign_offs_of(connection, studio.site.id)[-1]


def test_the_checks_are_signed_off_and_the_record_prints(
    page: Page, house: str, heard: Studio
) -> None:
    signed = _signed(page, house, heard)
    assert page.tab.url == f"{house}{_SETUP}/sign-off/{signed.id}?done=signed"
    assert "Ana Moura, installer" in shown(page)
    printed = PdfReader(BytesIO(page.printed()))
    assert len(printed.pages) <= 2
    text = " ".join(" ".join(each.extract_text() for each in printed.pages).split())
    assert "Signed on 4 March 2026 12:00 WET by Ana Moura, installer." in text
    assert signed.sha256 in text.replace(" ", "")
    assert "hold energy that kills" in text
    for gone in ("This week", "All sign-offs", "It is signed, and stays"):
        assert gone not in text


@pytest.mark.parametrize("path", _PAGES)
def test_what_is_touched_is_large_enough_and_nothing_is_cut_off(
    tab: Page, house: str, path: str
) -> None:
    tab.look_like()
    tab.go(house + path)
    assert tab.evaluate(_LOW) == []
    assert not tab.evaluate(_OVERFLOWS)
    # The narrowest window that WCAG 2.2 asks of a page (1.4.10 Reflow): 320 px.
    tab.look_like(width=320, height=640)
    assert not tab.evaluate(_OVERFLOWS)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_faults_a_preview_and_a_record_are_accessible(
    tab: Page, house: str, heard: Studio, scheme: str
) -> None:
    tab.look_like(scheme="dark" if scheme == "dark" else "light")
    tab.go(f"{house}{_SETUP}/terms")
    write(tab, warranty_years="ten")
    click(tab, "Save")
    assert violations(tab) == []
    tab.go(f"{house}{_SETUP}/corrections")
    click(tab, "Show what it does")
    assert violations(tab) == []
    _signed(tab, house, heard)
    assert violations(tab) == []
    assert not tab.evaluate(_OVERFLOWS)
