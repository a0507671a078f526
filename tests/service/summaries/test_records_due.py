"""Which records are analysed anew, and that the worker agrees: else it would be asked for ever."""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.core.corrections import Correction
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.corrections import add_correction, withdraw_correction
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import mark_days
from joulebook.storage.events import Event, add_event, remove_event
from joulebook.storage.record_results import record_result, save_record_result
from joulebook.storage.records import Site
from joulebook.storage.site_facts import change_facts
from joulebook.summaries.record_update import update_record
from joulebook.summaries.records_due import (
    ENTERED_NAME,
    FRESH_S,
    Due,
    entered_digest,
    is_still_due,
    records_due,
)
from tests.helpers.databases import studio, write
from tests.helpers.stored_plants import FIRST

MADE_MS = 1_780_000_000_000
STALE_MS = MADE_MS + round(1000 * FRESH_S)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Database, Connection]]:
    """A site with a reading, whose record was looked at, and one that has nothing."""
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {MADE_MS - 60_000: {"power": 5.0}})
        update(database, site)
        yield database, connection
    database.close()


def update(database: Database, site: Site, now_ms: int = MADE_MS) -> None:
    update_record(database, site, clock_ms=lambda: now_ms, max_gap_s=300.0)


def due(database: Database, connection: Connection, now_ms: int = MADE_MS) -> list[Due]:
    return records_due(connection, [site_named(database, "studio")], now_ms=now_ms)


def test_what_was_never_analysed_is_due(house: tuple[Database, Connection]) -> None:
    database, connection = house
    there = [site_named(database, "studio"), add_site(database, "annexe", "Europe/Lisbon")]
    assert records_due(connection, there, now_ms=MADE_MS) == [Due(there[1], None)]


def test_new_readings_are_due_after_some_hours(house: tuple[Database, Connection]) -> None:
    database, connection = house
    site = site_named(database, "studio")
    assert due(database, connection, 2 * STALE_MS) == []  # nothing is new
    mark_days(connection, site.id, [FIRST])
    assert due(database, connection, STALE_MS - 1) == []
    assert due(database, connection, STALE_MS) == [Due(site, MADE_MS)]


def test_what_another_method_made_is_due(house: tuple[Database, Connection]) -> None:
    database, connection = house
    site = site_named(database, "studio")
    save_record_result(
        *(connection, site.id, ENTERED_NAME, "older", entered_digest(connection, site)),
        mark=9,
        computed_ms=MADE_MS,
    )
    assert due(database, connection) == [Due(site, MADE_MS)]
    update(database, site, MADE_MS + 1)
    assert record_result(connection, site.id, "record") is not None


WRONG = Correction(
    id=0,
    device="battery",
    quantity="power",
    kind="sign",
    value=None,
    from_ms=None,
    to_ms=None,
    note="",
    made_ms=MADE_MS,
    withdrawn_ms=None,
)
NOTED = Event(id=0, at_ms=MADE_MS, kind="wiring", title="lugs", made_ms=MADE_MS)
Enter = Callable[[Connection, Site], object]


@pytest.mark.parametrize(
    ("enter", "take_back"),
    [
        (
            lambda connection, site: add_correction(connection, site, WRONG),
            lambda connection, site: withdraw_correction(connection, site, 1, now_ms=MADE_MS),
        ),
        (
            lambda connection, site: add_event(connection, site, NOTED),
            lambda connection, site: remove_event(connection, site, 1, now_ms=MADE_MS),
        ),
        (
            lambda connection, site: change_facts(connection, site, battery_ah=280.0),
            lambda connection, site: change_facts(connection, site, battery_ah=None),
        ),
    ],
    ids=["correction", "event", "fact"],
)
def test_what_the_owner_enters_is_due_at_once_and_analysed_once(
    house: tuple[Database, Connection], enter: Enter, take_back: Enter
) -> None:
    database, connection = house
    for change in (enter, take_back):
        change(connection, site_named(database, "studio"))
        [found] = due(database, connection)
        assert is_still_due(connection, found)
        update(database, found.site, MADE_MS + 1 if change is enter else MADE_MS + 2)
        assert not is_still_due(connection, found)  # as another service sees it that was slower
        assert due(database, connection) == []


def test_facts_that_no_number_rests_on_ask_for_nothing(
    house: tuple[Database, Connection],
) -> None:
    database, connection = house
    change_facts(connection, site_named(database, "studio"), locale="de-DE", installer="K. Wood")
    site = site_named(database, "studio")
    assert site.locale == "de-DE"
    assert due(database, connection, 2 * STALE_MS) == []
    assert entered_digest(connection, site) == entered_digest(connection, replace(site, locale=""))
