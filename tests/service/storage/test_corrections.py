from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from joulebook.core.corrections import Correction
from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.corrections import (
    add_correction,
    corrections_of,
    preview_correction,
    withdraw_correction,
)
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_days, save_day
from joulebook.storage.record_results import record_mark
from joulebook.storage.records import Column, Site, Value
from tests.helpers.databases import NOON_MS, undone, write

DAY_MS = 86_400_000
MIDNIGHT_MS = NOON_MS + 12 * 3_600_000  # Lisbon's is that of UTC in winter
FIRST, SECOND, THIRD = date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 3)
TURNED = Correction(
    id=0,
    device="load",
    quantity="power",
    kind="sign",
    note="The clamp was mounted backwards",
    made_ms=7,
)


@pytest.fixture
def measured(connection: Connection, site: Site) -> Site:
    """The studio with a noon's reading on three days, all of them computed."""
    for day in range(3):
        write(connection, site, "load", {NOON_MS + day * DAY_MS: {"power": -300.0}})
    columns = [Column("charge_energy", "Wh"), Column("state", "", "text")]
    row: dict[int, dict[str, Value]] = {NOON_MS: {"charge_energy": 5.0, "state": "waiting"}}
    write(connection, site, "battery", row, columns)
    clean(connection)
    return site


def clean(connection: Connection) -> None:
    for dirty in dirty_days(connection):
        save_day(connection, dirty.site_id, dirty.day, "day-1", b"{}", dirty.mark, 7)


def dirty(connection: Connection) -> list[date]:
    return sorted(day.day for day in dirty_days(connection))


def test_a_correction_is_kept_as_it_was_entered(connection: Connection, measured: Site) -> None:
    wanted = replace(TURNED, from_ms=5, to_ms=NOON_MS)
    added = add_correction(connection, measured, wanted).correction
    assert added == replace(wanted, id=added.id)
    scaled = replace(TURNED, kind="scale", value=1000.0, made_ms=3)
    first = add_correction(connection, measured, scaled).correction
    assert corrections_of(connection, measured.id) == [first, added]


def test_an_open_one_makes_every_day_with_readings_dirty(
    database: Database, connection: Connection, measured: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    before = record_mark(connection, measured.id)
    assert add_correction(connection, measured, TURNED).days == 3
    assert dirty(connection) == [FIRST, SECOND, THIRD]
    assert record_mark(connection, measured.id) > before
    assert record_mark(connection, annexe.id) == 0
    assert corrections_of(connection, annexe.id) == []


@pytest.mark.parametrize(
    ("from_ms", "to_ms", "days"),
    [
        (NOON_MS + DAY_MS, None, [SECOND, THIRD]),
        (None, NOON_MS + DAY_MS, [FIRST, SECOND]),  # the second by its time before noon
        (NOON_MS + 1, NOON_MS + DAY_MS + 1, [FIRST, SECOND]),
        (MIDNIGHT_MS + 400_000, MIDNIGHT_MS + DAY_MS - 400_000, [SECOND]),
        # A reading is held for up to 300 s, across midnight too.
        (MIDNIGHT_MS + 200_000, MIDNIGHT_MS + DAY_MS - 200_000, [FIRST, SECOND, THIRD]),
        (NOON_MS + 9 * DAY_MS, None, []),
        (None, NOON_MS - 9 * DAY_MS, []),
    ],
)
def test_a_bounded_one_makes_the_days_dirty_that_it_touches(
    connection: Connection, measured: Site, from_ms: int | None, to_ms: int | None, days: list[date]
) -> None:
    # Something is measured around midnight too, by another device.
    other = {MIDNIGHT_MS + step * 60_000: {"power": 1.0} for step in range(-10, 10)}
    other |= {at_ms + DAY_MS: row for at_ms, row in other.items()}
    write(connection, measured, "grid", other)
    clean(connection)
    wanted = replace(TURNED, from_ms=from_ms, to_ms=to_ms)
    assert add_correction(connection, measured, wanted).days == len(days)
    assert dirty(connection) == days


def test_days_that_are_final_stay_and_are_not_counted(
    connection: Connection, measured: Site
) -> None:
    connection.execute(
        "INSERT INTO final_before (site_id, day, start_ms) VALUES (?, ?, ?)",
        (measured.id, SECOND.isoformat(), MIDNIGHT_MS),
    )
    assert add_correction(connection, measured, TURNED).days == 2
    assert dirty(connection) == [SECOND, THIRD]


def test_withdrawing_makes_the_same_days_dirty_and_keeps_the_record(
    connection: Connection, measured: Site
) -> None:
    added = add_correction(connection, measured, replace(TURNED, to_ms=NOON_MS + 1)).correction
    clean(connection)
    before = record_mark(connection, measured.id)
    withdrawn = withdraw_correction(connection, measured, added.id, now_ms=99)
    assert (withdrawn.correction, withdrawn.days) == (replace(added, withdrawn_ms=99), 1)
    assert dirty(connection) == [FIRST]
    assert record_mark(connection, measured.id) > before
    assert corrections_of(connection, measured.id) == []
    assert corrections_of(connection, measured.id, withdrawn=True) == [withdrawn.correction]
    # And what was withdrawn can be said again.
    assert add_correction(connection, measured, replace(TURNED, to_ms=NOON_MS + 1)).days == 1


def test_a_correction_and_its_marks_are_one(connection: Connection, measured: Site) -> None:
    with undone(connection):
        add_correction(connection, measured, TURNED)
    assert (corrections_of(connection, measured.id), dirty(connection)) == ([], [])


def test_without_readings_nothing_is_marked(connection: Connection, site: Site) -> None:
    write(connection, site, "load", {NOON_MS: {"power": 1.0}})
    clean(connection)
    connection.execute("DELETE FROM readings")
    assert add_correction(connection, site, TURNED).days == 0


@pytest.mark.parametrize(
    ("change", "what", "where"),
    [
        ({"kind": "turn"}, "no correction 'turn'", "kind"),
        ({"value": 2.0}, "a sign correction has no value", "value"),
        ({"kind": "scale"}, "a scale correction needs a value", "value"),
        ({"kind": "scale", "value": -1.0}, "a scale cannot be -1", "value"),
        ({"kind": "scale", "value": 1.0}, "a scale cannot be 1", "value"),
        ({"kind": "scale", "value": float("nan")}, "a scale cannot be nan", "value"),
        ({"kind": "offset", "value": 0.0}, "an offset cannot be 0", "value"),
        ({"kind": "offset", "value": float("-inf")}, "an offset cannot be -inf", "value"),
        ({"kind": "offset", "value": float("nan")}, "an offset cannot be nan", "value"),
        ({"from_ms": 5, "to_ms": 5}, "ends before it begins", "from, to"),
        ({"note": "x" * 501}, "the note is too long", "note"),
        ({"device": "lod"}, "no series of numbers lod/power", "series"),
        ({"device": "battery", "quantity": "state"}, "no series of numbers", "series"),
        ({"device": "battery", "quantity": "charge_energy"}, "is a counter", "kind"),
        (
            {"device": "battery", "quantity": "charge_energy"}
            | {"kind": "scale", "value": 10.0, "to_ms": 5},
            "is a counter",
            "kind",
        ),
    ],
)
def test_it_refuses_what_cannot_be_a_correction(
    connection: Connection, measured: Site, change: dict[str, Any], what: str, where: str
) -> None:
    with pytest.raises(UsageError, match=what) as caught:
        add_correction(connection, measured, replace(TURNED, **change))
    assert (caught.value.where, caught.value.expected != "") == (where, True)
    assert corrections_of(connection, measured.id) == []
    assert dirty(connection) == []


def test_a_counter_can_be_scaled_as_a_whole_and_have_readings_left_out(
    connection: Connection, measured: Site
) -> None:
    counter = replace(TURNED, device="battery", quantity="charge_energy")
    add_correction(connection, measured, replace(counter, kind="scale", value=10.0))
    add_correction(connection, measured, replace(counter, kind="exclude", to_ms=NOON_MS))
    assert len(corrections_of(connection, measured.id)) == 2


def test_it_refuses_to_say_the_same_twice(connection: Connection, measured: Site) -> None:
    first = add_correction(connection, measured, TURNED).correction
    with pytest.raises(UsageError, match=f"correction {first.id} says the same already"):
        add_correction(connection, measured, replace(TURNED, made_ms=8, note="Once more"))
    add_correction(connection, measured, replace(TURNED, from_ms=NOON_MS))


def test_a_series_is_named_with_those_that_there_are(connection: Connection, site: Site) -> None:
    with pytest.raises(UsageError) as caught:
        add_correction(connection, site, TURNED)
    assert caught.value.expected == "a series with readings"
    write(connection, site, "grid", {NOON_MS: {"power": 1.0}})
    with pytest.raises(UsageError) as caught:
        add_correction(connection, site, TURNED)
    assert caught.value.expected == "one of grid/power"


def test_it_withdraws_only_what_is_in_force(
    database: Database, connection: Connection, measured: Site
) -> None:
    with pytest.raises(UsageError, match="has no correction 1") as caught:
        withdraw_correction(connection, measured, 1, now_ms=99)
    assert caught.value.expected == "a correction in force"
    added = add_correction(connection, measured, TURNED).correction
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    with pytest.raises(UsageError, match="site annexe has no correction"):
        withdraw_correction(connection, annexe, added.id, now_ms=99)
    with pytest.raises(UsageError) as caught:
        withdraw_correction(connection, measured, 77, now_ms=99)
    assert caught.value.expected == f"one of {added.id}"
    withdraw_correction(connection, measured, added.id, now_ms=99)
    with pytest.raises(UsageError, match="was withdrawn before"):
        withdraw_correction(connection, measured, added.id, now_ms=99)


def test_a_preview_tells_what_it_would_do_and_leaves_nothing(
    connection: Connection, measured: Site
) -> None:
    before = record_mark(connection, measured.id)
    looked = preview_correction(connection, measured, TURNED)
    assert (looked.correction, looked.days) == (TURNED, 3)
    assert corrections_of(connection, measured.id) == []
    assert (dirty(connection), record_mark(connection, measured.id)) == ([], before)
    added = add_correction(connection, measured, TURNED)
    assert replace(added, correction=replace(added.correction, id=0)) == looked
    with pytest.raises(UsageError, match="says the same already"):
        preview_correction(connection, measured, TURNED)
