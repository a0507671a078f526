from dataclasses import replace

import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_count, dirty_days
from joulebook.storage.reading import latest_readings, read_device, readings_span
from joulebook.storage.records import Column, DeviceRows, Site, Value, Written
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows
from tests.helpers.databases import NOON_MS, undone, write
from tests.helpers.plans import counted_steps

NAN = float("nan")


def stored(connection: Connection, site: Site, device: str = "battery") -> dict[str, list[float]]:
    span = Span(NOON_MS - 10**9, NOON_MS + 10**9)
    readings = read_device(connection, site.id, device, span)
    return {
        "at": (readings.at_ms - NOON_MS).tolist(),
        **{name: array.tolist() for name, array in readings.values.items()},
    }


def test_new_readings_are_stored_and_counted_one_by_one(connection: Connection, site: Site) -> None:
    rows = {NOON_MS: {"power": 1.0, "soc": 0.5}, NOON_MS + 5000: {"power": 2.0, "soc": 0.25}}
    assert write(connection, site, "battery", rows) == Written(new=4)
    assert stored(connection, site) == {"at": [0, 5000], "power": [1, 2], "soc": [0.5, 0.25]}


def test_a_repeat_is_nothing(connection: Connection, site: Site) -> None:
    rows = {NOON_MS: {"power": 1.0, "soc": 0.5}, NOON_MS + 5000: {"power": 0.0, "soc": 0.25}}
    write(connection, site, "battery", rows)
    before = dirty_days(connection)
    assert write(connection, site, "battery", rows) == Written(repeated=4)
    assert stored(connection, site)["power"] == [1, 0]
    assert dirty_days(connection) == before


def test_another_value_replaces_and_is_counted(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0, "soc": 0.5}})
    (before,) = dirty_days(connection)
    written = write(connection, site, "battery", {NOON_MS: {"power": 0.0, "soc": 0.5}})
    assert written == Written(repeated=1, replaced=1)
    assert stored(connection, site) == {"at": [0], "power": [0], "soc": [0.5]}
    (after,) = dirty_days(connection)
    assert after.mark > before.mark


def test_another_quantity_of_the_same_instant_fills_the_row(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    assert write(connection, site, "battery", {NOON_MS: {"soc": 0.5}}) == Written(new=1)
    # Missing is not a value: it replaces nothing.
    late = {NOON_MS: {"soc": None, "power": None, "current": 3.0}}
    assert write(connection, site, "battery", late) == Written(new=1)
    assert stored(connection, site) == {"at": [0], "power": [1], "soc": [0.5], "current": [3]}


def test_late_readings_find_their_place(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", {NOON_MS + at: {"power": float(at)} for at in (10, 30)})
    rows = {NOON_MS + at: {"power": float(at)} for at in (0, 10, 20, 30, 40)}
    assert write(connection, site, "battery", rows) == Written(new=3, repeated=2)
    assert stored(connection, site) == {"at": [0, 10, 20, 30, 40], "power": [0, 10, 20, 30, 40]}


def test_the_same_key_several_times_in_a_batch_is_counted_in_its_order(
    connection: Connection, site: Site
) -> None:
    register = SeriesRegister()
    with transaction(connection):
        series = register.resolve(connection, site.id, "battery", (Column("power", "W"),))
        part = DeviceRows(site.id, series[0].device_id, series, [])
        rows: list[tuple[Value, ...]] = [
            (NOON_MS + 5, 1.0),
            (NOON_MS, 2.0),  # earlier
            (NOON_MS + 5, 1.0),  # the same again
            (NOON_MS + 5, 3.0),  # corrected
            (NOON_MS + 5, None),  # says nothing
            (NOON_MS + 5, 1.0),  # corrected back
        ]
        later: list[tuple[Value, ...]] = [(NOON_MS + 5, 1.0), (NOON_MS + 9, 4.0)]
        batch = [replace(part, rows=rows), replace(part, rows=later)]
        written = write_rows(connection, {site.id: site.zone}, batch)
    assert written == Written(new=3, repeated=2, replaced=2)
    assert stored(connection, site) == {"at": [0, 5, 9], "power": [2, 1, 4]}


def test_nan_is_missing_and_a_row_of_nothing_is_no_row(connection: Connection, site: Site) -> None:
    rows: dict[int, dict[str, Value]] = {
        NOON_MS: {"power": NAN, "soc": 0.5},
        NOON_MS + 1: {"power": None, "soc": NAN},
        NOON_MS + 2: {"power": None, "soc": None},
        NOON_MS + 3: {"power": 1.0, "soc": 0.5},
    }
    assert write(connection, site, "battery", rows) == Written(new=3)
    assert connection.execute("SELECT count(*) FROM readings").fetchone() == (2,)
    assert write(connection, site, "battery", {NOON_MS: {"power": NAN}}) == Written()
    assert write(connection, site, "battery", {NOON_MS + 9: {"power": None}}) == Written()
    assert readings_span(connection, site.id) == Span(NOON_MS, NOON_MS + 4)


def test_text_and_flags_are_readings_too(connection: Connection, site: Site) -> None:
    columns = [Column("state", "", "text"), Column("fan", "", "flag")]
    first: dict[int, dict[str, Value]] = {NOON_MS: {"state": "waiting", "fan": True}}
    assert write(connection, site, "inverter", first, columns) == Written(new=2)
    assert write(connection, site, "inverter", first, columns) == Written(repeated=2)
    changed: dict[int, dict[str, Value]] = {NOON_MS: {"state": "Waiting", "fan": False}}
    assert write(connection, site, "inverter", changed, columns) == Written(replaced=2)
    newest = [(one.series.quantity, one.value) for one in latest_readings(connection, site.id)]
    assert newest == [("state", "Waiting"), ("fan", False)]


def test_the_order_of_a_message_s_quantities_does_not_matter(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0, "soc": 0.5}})
    write(connection, site, "battery", {NOON_MS + 1: {"soc": 0.25, "power": 2.0}})
    assert stored(connection, site) == {"at": [0, 1], "power": [1, 2], "soc": [0.5, 0.25]}


def test_devices_and_sites_do_not_mix_and_each_day_is_local(
    database: Database, connection: Connection, site: Site
) -> None:
    # NOON_MS + 10 h is 22:00 in Lisbon, and 11:00 of the next day in Apia (UTC+13).
    annexe = add_site(database, "annexe", "Pacific/Apia")
    zones = {site.id: site.zone, annexe.id: annexe.zone}
    at_ms = NOON_MS + 10 * 3_600_000
    register = SeriesRegister()
    with transaction(connection):
        batch = []
        for place, device, value in [(site, "grid", 1.0), (site, "pv", 2.0), (annexe, "grid", 3.0)]:
            series = register.resolve(connection, place.id, device, (Column("power", "W"),))
            part = DeviceRows(place.id, series[0].device_id, series, [(at_ms, value)])
            batch.append(part)
        assert write_rows(connection, zones.__getitem__, batch) == Written(new=3)
    for place, device, value in [(site, "grid", 1.0), (site, "pv", 2.0), (annexe, "grid", 3.0)]:
        assert stored(connection, place, device)["power"] == [value]
    assert {(one.site_id, one.day.isoformat()) for one in dirty_days(connection)} == {
        (site.id, "2026-03-01"),
        (annexe.id, "2026-03-02"),
    }


def test_rows_and_marks_are_one(connection: Connection, site: Site) -> None:
    register = SeriesRegister()
    with undone(connection):
        series = register.resolve(connection, site.id, "battery", (Column("power", "W"),))
        part = DeviceRows(site.id, series[0].device_id, series, [(NOON_MS, 1.0)])
        assert write_rows(connection, {site.id: site.zone}, [part]) == Written(new=1)
    assert readings_span(connection, site.id) is None
    assert latest_readings(connection, site.id) == []
    assert dirty_count(connection) == 0


def test_outside_a_transaction_it_is_a_bug(connection: Connection) -> None:
    with pytest.raises(RuntimeError, match="only inside a transaction"):
        write_rows(connection, {}, [])


def test_nothing_to_write_is_nothing(connection: Connection, site: Site) -> None:
    register = SeriesRegister()
    with transaction(connection):
        series = register.resolve(connection, site.id, "battery", (Column("power", "W"),))
        part = DeviceRows(site.id, series[0].device_id, series, [])
        assert write_rows(connection, {}, [part]) == Written()
    assert dirty_count(connection) == 0


@pytest.mark.anew
def test_a_late_row_costs_the_same_however_much_there_is(
    connection: Connection, site: Site
) -> None:
    # And so does a row in order. Each is in the middle of the day, so as many days are marked.
    costs = []
    for size in (100, 5000):
        device = f"battery-{size}"
        rows = {NOON_MS + 5000 * at: {"power": 1.0} for at in range(size)}
        write(connection, site, device, rows)
        with counted_steps(connection) as steps:
            write(connection, site, device, {NOON_MS + 1: {"power": 2.0}})
            write(connection, site, device, {NOON_MS + 5000 * size: {"power": 2.0}})
        costs.append(steps[0])
    assert costs[0] == costs[1]


@pytest.mark.anew
def test_many_small_parts_cost_hardly_more_than_a_large_one(
    connection: Connection, site: Site
) -> None:
    # A group commit of messages that a bridge sent one by one, with others' in between.
    register = SeriesRegister()
    columns = (Column("power", "W"),)
    costs = []
    for devices, size in [(("battery", "grid"), 1), (("battery-2", "grid-2"), 100)]:
        with transaction(connection):
            parts = []
            for start in range(0, 100, size):
                for device in devices:
                    series = register.resolve(connection, site.id, device, columns)
                    rows: list[tuple[Value, ...]] = [
                        (NOON_MS + at, float(at)) for at in range(start, start + size)
                    ]
                    parts.append(DeviceRows(site.id, series[0].device_id, series, rows))
            untouched = [part.rows.copy() for part in parts]
            with counted_steps(connection) as steps:
                assert write_rows(connection, {site.id: site.zone}, parts) == Written(new=200)
            assert [part.rows for part in parts] == untouched
        costs.append(steps[0])
    # The first writing makes the row of the dirty day, too.
    assert costs[0] == pytest.approx(costs[1], rel=0.01)
