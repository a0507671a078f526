from dataclasses import fields, replace
from datetime import date

import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_count, dirty_days, save_day
from joulebook.storage.record_results import record_mark
from joulebook.storage.records import Site
from joulebook.storage.site_facts import FACTS, SiteFacts, change_facts, facts_of
from tests.helpers.databases import NOON_MS, undone, write


@pytest.fixture
def measured(connection: Connection, site: Site) -> Site:
    """The studio with a reading, and its day computed."""
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    for dirty in dirty_days(connection):
        save_day(connection, site.id, dirty.day, "day-1", b"{}", dirty.mark, 7)
    return site


def test_every_fact_of_a_site_can_be_changed() -> None:
    told = [field.name for field in fields(Site)]
    # Who looks after it is said another way: storage/organisations.py.
    assert ["id", "name", "timezone", *FACTS, "organisation_id"] == told


def test_what_is_given_changes_and_the_rest_stays(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon", battery_ah=50.0)
    terms = SiteFacts(warranty_years=10.0, warranty_floor_ratio=0.7, warranty_throughput_wh=3e7)
    first = change_facts(connection, site, battery_ah=200.0, installed=date(2025, 1, 15)).site
    second = change_facts(connection, first, **terms).site
    assert second == replace(first, **terms)
    assert (second.battery_ah, second.installed) == (200.0, date(2025, 1, 15))
    assert site_named(database, "studio") == second
    third = change_facts(connection, second, installed=None, battery_ah=None).site
    assert site_named(database, "studio") == third == replace(site, **terms)
    assert site_named(database, "annexe") == annexe


@pytest.mark.parametrize("facts", [SiteFacts(battery_ah=200.0), SiteFacts(battery_cells=16)])
def test_rated_charge_and_cells_make_days_dirty(
    connection: Connection, measured: Site, facts: SiteFacts
) -> None:
    before = record_mark(connection, measured.id)
    changed = change_facts(connection, measured, **facts)
    assert (changed.days, dirty_count(connection)) == (1, 1)
    assert record_mark(connection, measured.id) > before


def test_the_warranty_concerns_the_record_only(connection: Connection, measured: Site) -> None:
    before = record_mark(connection, measured.id)
    changed = change_facts(connection, measured, warranty_years=10.0)
    assert (changed.days, dirty_count(connection)) == (0, 0)
    assert record_mark(connection, measured.id) > before


def test_the_same_again_computes_no_day(connection: Connection, measured: Site) -> None:
    changed = change_facts(connection, measured, battery_ah=200.0)
    assert change_facts(connection, changed.site, battery_ah=200.0).days == 0


def test_a_fact_and_its_marks_are_one(
    database: Database, connection: Connection, measured: Site
) -> None:
    with undone(connection):
        change_facts(connection, measured, battery_ah=200.0)
    assert (site_named(database, "studio"), dirty_count(connection)) == (measured, 0)


def test_it_refuses_what_makes_no_sense(
    database: Database, connection: Connection, measured: Site
) -> None:
    with pytest.raises(UsageError, match="battery_ah cannot be -1"):
        change_facts(connection, measured, battery_ah=-1.0)
    assert site_named(database, "studio") == measured


def test_limits_and_equipment_are_told_and_no_number_rests_on_them(
    database: Database, connection: Connection, measured: Site
) -> None:
    before = record_mark(connection, measured.id)
    said = SiteFacts(
        charge_low_c=0.0,
        charge_high_c=50.0,
        discharge_low_c=-20.0,
        discharge_high_c=55.0,
        charge_max_v=57.6,
        battery_maker="Forno & Filhos",
        battery_model="Pote 16",
        battery_serial="PT-0042",
        inverter_maker="Roda",
        inverter_model="R6",
        inverter_serial="7",
        installer="Ana Moura",
        commissioned=date(2025, 1, 20),
        locale="en-GB",
    )
    changed = change_facts(connection, measured, **said)
    assert (changed.days, record_mark(connection, measured.id)) == (0, before)
    assert site_named(database, "studio") == replace(measured, **said)
    assert facts_of(changed.site) == facts_of(measured) | said
    assert add_site(database, "annexe", "Europe/Lisbon", **said).charge_max_v == 57.6


@pytest.mark.parametrize(
    ("facts", "where"),
    [
        (SiteFacts(charge_low_c=50.0, charge_high_c=50.0), "charge_high_c"),
        (SiteFacts(discharge_low_c=5.0, discharge_high_c=-5.0), "discharge_high_c"),
        (SiteFacts(charge_low_c=float("nan")), "charge_low_c"),
        (SiteFacts(charge_max_v=0.0), "charge_max_v"),
        (SiteFacts(battery_maker=""), "battery_maker"),
        (SiteFacts(installer="x" * 81), "installer"),
        (SiteFacts(battery_serial="1\n2"), "battery_serial"),
        (SiteFacts(commissioned=date(1989, 12, 31)), "commissioned"),
        (SiteFacts(installed=date(2100, 1, 1)), "installed"),
    ],
)
def test_the_error_names_the_fact(
    database: Database, connection: Connection, site: Site, facts: SiteFacts, where: str
) -> None:
    with pytest.raises(UsageError, match="cannot be") as caught:
        change_facts(connection, site, **facts)
    assert caught.value.where == where
    with pytest.raises(UsageError):
        add_site(database, "annexe", "Europe/Lisbon", **facts)


def test_an_end_is_held_against_the_other_one_that_was_entered_before(
    connection: Connection, site: Site
) -> None:
    first = change_facts(connection, site, charge_high_c=45.0).site
    with pytest.raises(UsageError, match="charge_high_c cannot be 45"):
        change_facts(connection, first, charge_low_c=46.0)
