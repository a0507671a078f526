import math
from contextlib import closing
from datetime import date

import pytest

from joulebook.errors import UsageError
from joulebook.storage import catalogue
from joulebook.storage.catalogue import add_site, site_named, sites, some_sites
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.storage.site_facts import SiteFacts
from joulebook.storage.tokens import add_token


def test_a_site_keeps_what_its_owner_said(database: Database) -> None:
    made = add_site(
        database,
        "annexe-2",
        "Pacific/Apia",
        battery_ah=280.0,
        battery_cells=16,
        installed=date(2024, 2, 29),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
        warranty_throughput_wh=4.5e7,
        inverter_w=6500.0,
        inverter_peak_w=12_000.0,
    )
    assert made == Site(
        id=made.id,
        name="annexe-2",
        timezone="Pacific/Apia",
        battery_ah=280.0,
        battery_cells=16,
        installed=date(2024, 2, 29),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
        warranty_throughput_wh=4.5e7,
        inverter_w=6500.0,
        inverter_peak_w=12_000.0,
    )
    assert site_named(database, "annexe-2") == made


def test_what_the_owner_did_not_say_is_missing(site: Site) -> None:
    assert site == Site(id=site.id, name="studio", timezone="Europe/Lisbon")


def test_sites_come_in_order_of_name(database: Database) -> None:
    add_site(database, "annexe", "Europe/Lisbon")
    assert [site.name for site in sites(database)] == ["annexe", "studio"]


@pytest.mark.parametrize("at_once", [1, 500])
def test_some_sites_come_in_order_of_name_too(
    database: Database, site: Site, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    monkeypatch.setattr(catalogue, "_MOST_ASKED", at_once)  # both ways to read them
    annexe, _ = (add_site(database, name, "Europe/Lisbon") for name in ("annexe", "yard"))
    assert some_sites(database, {site.id, annexe.id, 999}) == [annexe, site]
    assert some_sites(database, set()) == []


@pytest.mark.parametrize("name", ["0", "a" * 63, "north-wing-2"])
def test_it_takes_names_of_the_proper_form(database: Database, name: str) -> None:
    assert add_site(database, name, "Europe/Lisbon").name == name


@pytest.mark.parametrize("name", ["", "-a", "Studio", "a b", "a/b", "é", "a\n", "a" * 64, "+", "#"])
def test_it_refuses_other_names(database: Database, site: Site, name: str) -> None:
    with pytest.raises(UsageError, match="cannot be the name of a site"):
        add_site(database, name, "Europe/Lisbon")
    with pytest.raises(UsageError, match="cannot be the name of a token"):
        add_token(database, site, name)
    assert sites(database) == [site]


def test_it_refuses_a_second_site_of_a_name(database: Database, site: Site) -> None:
    with pytest.raises(UsageError, match="a site 'studio' already"):
        add_site(database, "studio", "Pacific/Apia")
    assert sites(database) == [site]


@pytest.mark.parametrize(
    ("timezone", "advice"),
    [
        ("Europe/Lisbonn", "did you mean 'Europe/Lisbon'?"),
        ("Nowhere at all", "look it up in the IANA list"),
        ("", "look it up in the IANA list"),
        ("../etc/passwd", "look it up in the IANA list"),
        ("Europe", None),
    ],
)
def test_it_refuses_a_zone_that_nobody_knows(
    database: Database, timezone: str, advice: str | None
) -> None:
    with pytest.raises(UsageError, match="unknown time zone") as caught:
        add_site(database, "annexe", timezone)
    assert advice in {None, caught.value.next_step}


@pytest.mark.parametrize(
    "facts",
    [
        SiteFacts(battery_ah=-200.0),
        SiteFacts(battery_ah=0.0),
        SiteFacts(battery_ah=math.nan),
        SiteFacts(battery_ah=math.inf),
        SiteFacts(battery_cells=0),
        SiteFacts(battery_cells=-16),
        SiteFacts(warranty_years=-1.0),
        SiteFacts(warranty_floor_ratio=70.0),
        SiteFacts(warranty_floor_ratio=0.0),
        SiteFacts(warranty_throughput_wh=-1.0),
        SiteFacts(inverter_w=6.5),
        SiteFacts(inverter_peak_w=-12_000.0),
        SiteFacts(installed=date(205, 1, 15)),
        SiteFacts(installed=date(2205, 1, 15)),
    ],
)
def test_it_refuses_facts_that_make_no_sense(
    database: Database, site: Site, facts: SiteFacts
) -> None:
    (fact,) = facts
    with pytest.raises(UsageError) as caught:
        add_site(database, "annexe", "Europe/Lisbon", **facts)
    assert caught.value.where == fact
    assert caught.value.expected
    assert "leave it out" in caught.value.next_step
    assert sites(database) == [site]


def test_an_unknown_site_is_named_with_those_that_there_are(database: Database) -> None:
    add_site(database, "annexe", "Europe/Lisbon")
    with pytest.raises(UsageError) as caught:
        site_named(database, "shed")
    assert caught.value.what == "there is no site 'shed'"
    assert caught.value.expected == "one of annexe, studio"


def test_without_any_site_it_says_how_to_make_one(database: Database) -> None:
    with closing(database.connect()) as connection:
        connection.execute("DELETE FROM sites")
    with pytest.raises(UsageError) as caught:
        site_named(database, "studio")
    assert caught.value.expected == "a site"
    assert "joulebook site add" in caught.value.next_step
