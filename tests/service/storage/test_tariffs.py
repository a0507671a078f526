from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection
from joulebook.storage.records import Site
from joulebook.storage.tariffs import (
    LONGEST_NOTE,
    TariffVersion,
    add_tariff,
    in_force,
    tariffs_of,
    withdraw_tariff,
)
from tests.helpers.databases import studio, undone
from tests.helpers.priced import two_bands

JANUARY = TariffVersion(id=0, tariff=two_bands(date(2026, 1, 1)), note="contract", made_ms=10)
JULY = TariffVersion(id=0, tariff=two_bands(date(2026, 7, 1)), made_ms=5)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Connection, Site]]:
    """A connection and the site."""
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        yield connection, site


def test_versions_come_in_the_order_of_their_first_days(house: tuple[Connection, Site]) -> None:
    connection, site = house
    july, january = (add_tariff(connection, site, each) for each in (JULY, JANUARY))
    assert (july.id, january.id) == (1, 2)
    assert tariffs_of(connection, site.id) == [january, july]
    assert january == replace(JANUARY, id=2)


def test_prices_come_back_exactly(house: tuple[Connection, Site]) -> None:
    connection, site = house
    band = replace(two_bands().seasons[0].bands[0], import_price=Decimal("0.100001"))
    season = replace(two_bands().seasons[0], bands=(band, two_bands().seasons[0].bands[1]))
    exact = replace(two_bands(), seasons=(season,))
    add_tariff(connection, site, replace(JANUARY, tariff=exact))
    [found] = tariffs_of(connection, site.id)
    assert found.tariff == exact


def test_two_versions_cannot_begin_on_one_day(house: tuple[Connection, Site]) -> None:
    connection, site = house
    add_tariff(connection, site, JANUARY)
    with pytest.raises(UsageError, match="tariff 1 begins on 2026-01-01 already") as caught:
        add_tariff(connection, site, JANUARY)
    assert caught.value.where == "from"
    assert len(tariffs_of(connection, site.id)) == 1


def test_what_was_withdrawn_stays_and_may_be_followed(house: tuple[Connection, Site]) -> None:
    connection, site = house
    add_tariff(connection, site, JANUARY)
    gone = withdraw_tariff(connection, site, 1, now_ms=99)
    assert gone.withdrawn_ms == 99
    assert tariffs_of(connection, site.id) == []
    right = add_tariff(connection, site, JANUARY)
    assert tariffs_of(connection, site.id, withdrawn=True) == [gone, right]
    assert in_force([gone, right]) == [right.tariff]


@pytest.mark.parametrize(("number", "expected"), [(7, "one of 1"), (1, "a tariff")])
def test_what_is_not_there_cannot_be_withdrawn(
    house: tuple[Connection, Site], number: int, expected: str
) -> None:
    connection, site = house
    add_tariff(connection, site, JANUARY)
    if number == 1:
        withdraw_tariff(connection, site, 1, now_ms=99)
    with pytest.raises(UsageError, match=f"has no tariff {number}") as caught:
        withdraw_tariff(connection, site, number, now_ms=100)
    assert caught.value.expected == expected


def test_a_note_has_an_end(house: tuple[Connection, Site]) -> None:
    connection, site = house
    with pytest.raises(UsageError, match="note is too long"):
        add_tariff(connection, site, replace(JANUARY, note="x" * (LONGEST_NOTE + 1)))


def test_sites_have_tariffs_of_their_own(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    other = add_site(database, "annex", "Europe/Lisbon")
    with closing(database.connect()) as connection:
        add_tariff(connection, site, JANUARY)
        add_tariff(connection, other, JANUARY)
        assert [each.id for each in tariffs_of(connection, other.id)] == [2]
        with pytest.raises(UsageError):
            withdraw_tariff(connection, other, 1, now_ms=9)


def test_a_version_is_part_of_the_callers_transaction(house: tuple[Connection, Site]) -> None:
    connection, site = house
    with undone(connection):
        add_tariff(connection, site, JANUARY)
    assert tariffs_of(connection, site.id) == []
