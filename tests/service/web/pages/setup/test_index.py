from contextlib import closing
from datetime import date

import pytest

from joulebook.storage.site_facts import SiteFacts, change_facts
from joulebook.storage.tariffs import TariffVersion, add_tariff
from joulebook.web.pages.setup.index import topics_of
from tests.helpers.pages import Studio, outline, words_of
from tests.helpers.priced import two_bands

_PAGE = "/sites/studio/setup"
_ALL = SiteFacts(
    installed=date(2025, 1, 15),
    warranty_years=10.0,
    warranty_floor_ratio=0.7,
    inverter_w=6500.0,
    inverter_peak_w=12_000.0,
    charge_low_c=0.0,
    battery_maker="Forno",
    battery_model="Pote 16",
    battery_serial="PT-0042",
    inverter_serial="7",
)


def test_it_says_what_is_missing_and_why_it_matters(heard: Studio) -> None:
    words = words_of(heard.client.get(_PAGE).text)
    # Five of the equipment, two terms, the limits, a tariff, a sign-off.
    assert "10 things are missing." in words
    assert "Missing: A tariff. Without it no amount can be told" in words
    assert "Missing: The day it first ran. Without it the warranty is taken to begin" in words
    assert "Missing: How long the warranty lasts. Without it 10 years are assumed." in words
    assert "Missing: What it promises at its end. Without it 70% of the rated charge" in words
    assert "Missing: A sign-off. Without it the evidence file has no record" in words
    assert "rated charge. Without" not in words  # it is entered
    assert "Heard of: Battery, kiln." in words


def test_once_all_is_entered_only_the_sign_off_is_missing(heard: Studio) -> None:
    with closing(heard.database.connect()) as connection:
        change_facts(connection, heard.site, **_ALL)
        version = TariffVersion(id=0, tariff=two_bands(), made_ms=1)
        add_tariff(connection, heard.site, version)
    words = words_of(heard.client.get(_PAGE).text)
    assert "One thing is missing." in words
    assert "Forno Pote 16, in Europe/Lisbon." in words


def test_a_site_that_heard_nothing_lacks_a_device(empty: Studio) -> None:
    words = words_of(empty.client.get(_PAGE).text)
    assert "Nothing was heard yet. Missing: A device that is heard." in words


@pytest.mark.parametrize("page", ["site", "terms", "devices", "events", "corrections", "sign-off"])
def test_each_of_its_pages_leads_back(heard: Studio, page: str) -> None:
    assert {"href": f"{_PAGE}/{page}"} in outline(heard.client.get(_PAGE).text).named("a")
    back = outline(heard.client.get(f"{_PAGE}/{page}").text).named("a")
    assert {"class": "step", "href": _PAGE} in back


def test_links_to_what_others_keep_are_there(heard: Studio) -> None:
    links = [each.get("href") for each in outline(heard.client.get(_PAGE).text).named("a")]
    assert {f"{_PAGE}/tariff", f"{_PAGE}/tokens", "/setup/new-site"} <= set(links)


def test_a_viewer_sees_what_is_missing_and_no_way_to_change_it(seen: Studio) -> None:
    page = outline(seen.client.get(_PAGE).text)
    assert "An owner of it can change what is entered here." in page.text
    links = [each.get("href") for each in page.named("a")]
    assert f"{_PAGE}/events" in links
    assert not {f"{_PAGE}/site", f"{_PAGE}/terms", "/setup/new-site"} & set(links)


def test_a_word_that_is_none_of_ours_says_nothing(heard: Studio) -> None:
    assert "Done." not in words_of(heard.client.get(f"{_PAGE}?done=x").text)


def test_pages_that_a_viewer_cannot_open_are_named_to_him_without_a_link(
    heard: Studio, seen: Studio
) -> None:
    backing = heard.client.app.state.backing  # type: ignore[attr-defined]
    closed = [each.below for each in topics_of(backing, heard.site) if each.owners_only]
    assert closed == ["/site", "/terms", "/tokens", "/tariff"]
    for below in closed:
        assert seen.client.get(f"{_PAGE}{below}").status_code == 403, below
