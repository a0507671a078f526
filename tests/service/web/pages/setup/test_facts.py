from contextlib import closing
from datetime import date

from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import site_named
from joulebook.storage.days import dirty_count
from joulebook.storage.records import Site
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import Studio, words_of

_SITE, _TERMS = "/sites/studio/setup/site", "/sites/studio/setup/terms"


def now(studio: Studio) -> Site:
    return site_named(studio.database, "studio")


def test_what_is_entered_stands_in_the_fields(heard: Studio) -> None:
    page = heard.client.get(_SITE).text
    fields = fields_on(page, _SITE)
    assert (fields["battery_ah"], fields["battery_cells"], fields["installed"]) == ("200", "16", "")
    words = words_of(page)
    assert "Time zone Europe/Lisbon" in words
    assert "with another zone every day of the record would begin elsewhere" in words
    assert "a qualified person, with the equipment off and locked out" in words


def test_the_site_and_its_equipment_are_saved_and_noted(heard: Studio) -> None:
    answer = send(
        *(heard.client, _SITE),
        {
            "battery_ah": "180,5",  # a decimal comma is taken too
            "installed": "2025-01-15",
            "inverter_w": "6500",
            "battery_maker": " Forno & Filhos ",
            "locale": "en-DE",
        },
    )
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/sites/studio/setup?done=site",
    )
    site = now(heard)
    assert (site.battery_ah, site.battery_cells, site.inverter_w) == (180.5, 16, 6500.0)
    assert (site.installed, site.battery_maker) == (date(2025, 1, 15), "Forno & Filhos")
    assert site.locale == "en-DE"
    with closing(heard.database.connect()) as connection:
        (noted,) = audit_log(connection, site="studio")
        assert dirty_count(connection) > 0  # rated charge is what days are computed with
    assert noted.action == "change facts"
    assert "battery_ah: 200\N{NO-BREAK SPACE}Ah, now 180.5\N{NO-BREAK SPACE}Ah" in noted.detail
    assert "installed: nothing, now 15\N{NO-BREAK SPACE}January 2025" in noted.detail
    words = words_of(heard.client.get("/sites/studio/setup?done=site").text)
    assert "Done. The site and its equipment are saved." in words


def test_an_empty_field_forgets_a_fact(heard: Studio) -> None:
    send(heard.client, _SITE, {"battery_ah": "", "battery_cells": ""})
    assert (now(heard).battery_ah, now(heard).battery_cells) == (None, None)


def test_nothing_that_is_the_same_is_noted(heard: Studio) -> None:
    assert send(heard.client, _SITE).status_code == 303
    with closing(heard.database.connect()) as connection:
        assert audit_log(connection) == []


def test_what_is_wrong_is_said_beside_its_field_and_what_was_written_stays(heard: Studio) -> None:
    before = now(heard)
    answer = send(
        *(heard.client, _SITE),
        {"battery_ah": "lots", "battery_cells": "16.5", "installed": "soon", "installer": "x" * 81},
    )
    assert answer.status_code == 422
    fields = fields_on(answer.text, _SITE)
    assert (fields["battery_ah"], fields["battery_cells"]) == ("lots", "16.5")
    assert (fields["installed"], fields["installer"]) == ("soon", "x" * 81)
    words = words_of(answer.text)
    assert "4 things need another look" in words
    assert "Rated charge : A number from 0.1 to 100000." in words
    assert "Installed by : This has 81 characters; 80 are the most." in words
    assert now(heard) == before


def test_what_storage_refuses_is_said_beside_its_field(heard: Studio) -> None:
    answer = send(heard.client, _SITE, {"battery_maker": "Forno\u0007"})
    assert answer.status_code == 422
    assert (
        "Battery: maker : This cannot be so. Expected: 1 to 80 characters on one line."
        in words_of(answer.text)
    )


def test_a_region_is_one_that_is_known_and_one_of_the_command_line_stays(heard: Studio) -> None:
    page = heard.client.get(_SITE).text
    sent = fields_on(page, _SITE) | {"locale": "nowhere"}
    answer = heard.client.post(_SITE, data=sent)
    assert answer.status_code == 422
    assert "One of the list." in words_of(answer.text)
    assert heard.client.post(_SITE, data=sent | {"locale": "de-CH"}).status_code == 303
    assert fields_on(heard.client.get(_SITE).text, _SITE)["locale"] == "de-CH"


def test_terms_are_entered_once_in_the_units_of_the_paper(heard: Studio) -> None:
    answer = send(
        *(heard.client, _TERMS),
        {
            "warranty_years": "10",
            "warranty_floor_ratio": "70",
            "warranty_throughput_wh": "20000",
            "charge_low_c": "0",
            "charge_high_c": "50",
            "charge_max_v": "57.6",
        },
    )
    assert answer.headers["location"] == "/sites/studio/setup?done=terms"
    site = now(heard)
    assert (site.warranty_years, site.warranty_floor_ratio) == (10.0, 0.7)
    assert site.warranty_throughput_wh == 20_000_000.0
    assert (site.charge_low_c, site.charge_high_c, site.charge_max_v) == (0.0, 50.0, 57.6)
    fields = fields_on(heard.client.get(_TERMS).text, _TERMS)
    assert (fields["warranty_floor_ratio"], fields["warranty_throughput_wh"]) == ("70", "20000")


def test_limits_the_wrong_way_round_are_refused(heard: Studio) -> None:
    answer = send(heard.client, _TERMS, {"discharge_low_c": "55", "discharge_high_c": "-20"})
    assert answer.status_code == 422
    assert "Discharging: hottest cell : Above the coldest, which is 55 °C." in words_of(answer.text)
    assert now(heard).discharge_low_c is None


def test_only_an_owner_gets_in(seen: Studio) -> None:
    for path in (_SITE, _TERMS):
        assert seen.client.get(path).status_code == 403
        assert seen.client.post(path, data={"battery_ah": "1"}).status_code == 403
