import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import (
    devices_of,
    latest_readings,
    read_device,
    read_pieces,
    readings_span,
)
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from tests.helpers.databases import NOON_MS, write
from tests.helpers.plans import counted_steps
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS, write_days

NAN = float("nan")


def test_it_returns_arrays_with_nan_for_what_is_missing(connection: Connection, site: Site) -> None:
    rows: dict[int, dict[str, Value]] = {
        NOON_MS: {"power": 1.5, "soc": None},
        NOON_MS + 5000: {"power": None, "soc": 0.25},
        NOON_MS + 9000: {"power": -0.0, "soc": 1e-300},
    }
    write(connection, site, "battery", rows)
    readings = read_device(connection, site.id, "battery", Span(NOON_MS, NOON_MS + 60_000))
    assert readings.at_ms.dtype == np.int64
    assert readings.at_ms.tolist() == [NOON_MS, NOON_MS + 5000, NOON_MS + 9000]
    assert readings.values["power"].dtype == np.float64
    assert readings.values["power"].flags.c_contiguous
    np.testing.assert_array_equal(readings.values["power"], [1.5, NAN, -0.0])
    assert np.signbit(readings.values["power"][2])
    np.testing.assert_array_equal(readings.values["soc"], [NAN, 0.25, 1e-300])


def test_floats_come_back_bit_for_bit(connection: Connection, site: Site) -> None:
    # The limits of IEEE 754 binary64, and whole numbers that a column of another affinity
    # would store as integers (https://www.sqlite.org/datatype3.html §3).
    values = [5.0, -0.0, 0.1, 2.0**53 + 2, 5e-324, 1.7976931348623157e308, 1 / 3, 1e15, -7.0]
    rows = {NOON_MS + index: {"power": value} for index, value in enumerate(values)}
    write(connection, site, "battery", rows)
    readings = read_device(connection, site.id, "battery", Span(NOON_MS, NOON_MS + 1000))
    assert readings.values["power"].tobytes() == np.array(values).tobytes()
    kind = "pg_typeof(numbers[1])::text" if on_server(connection) else "typeof(v0)"
    kinds = connection.execute(f"SELECT DISTINCT {kind} FROM readings").fetchall()
    assert kinds in ([("real",)], [("double precision",)])


def test_rows_of_many_hours_come_in_order_whatever_was_written_first(
    connection: Connection, site: Site
) -> None:
    # A server packs an hour of rows at a time: here hours begin and end sharply, or are empty.
    hour_ms = 3_600_000
    top_ms = NOON_MS // hour_ms * hour_ms
    instants = [top_ms + at for at in (-1, 0, 1, hour_ms - 1, hour_ms, 30 * hour_ms)]
    rows: dict[int, dict[str, Value]] = {
        at_ms: {"power": float(place)} if place % 2 else {"soc": float(place)}
        for place, at_ms in enumerate(instants)
    }
    for place in (5, 1, 3, 4, 0, 2):
        write(connection, site, "battery", {instants[place]: rows[instants[place]]})
    read = read_device(connection, site.id, "battery", Span(instants[0], instants[-1] + 1))
    assert read.at_ms.tolist() == instants
    np.testing.assert_array_equal(read.values["power"], [NAN, 1, NAN, 3, NAN, 5])
    np.testing.assert_array_equal(read.values["soc"], [0, NAN, 2, NAN, 4, NAN])
    part = Span(instants[4], instants[5])
    one = read_device(connection, site.id, "battery", part, quantities=["soc"])
    assert (one.at_ms.tolist(), one.values["soc"].tolist()) == ([instants[4]], [4.0])


def test_a_span_is_half_open_and_the_margin_widens_both_ends(
    connection: Connection, site: Site
) -> None:
    rows = {NOON_MS + at: {"power": float(at)} for at in (-11, -10, -1, 0, 99, 100, 109, 110)}
    write(connection, site, "battery", rows)
    span = Span(NOON_MS, NOON_MS + 100)
    inside = read_device(connection, site.id, "battery", span)
    assert inside.values["power"].tolist() == [0, 99]
    wider = read_device(connection, site.id, "battery", span, margin_ms=10)
    assert wider.values["power"].tolist() == [-10, -1, 0, 99, 100, 109]


@pytest.mark.parametrize(
    ("sealed_at_ms", "pieces"), [(0, 1), (MUCH_LATER_MS, 2)], ids=["hot", "sealed by weeks"]
)
def test_pieces_are_the_whole_when_laid_one_behind_the_other(
    connection: Connection, site: Site, sealed_at_ms: int, pieces: int
) -> None:
    write_days(connection, site, range(6))
    write(connection, site, "battery", {MONDAY_MS + 8 * DAY_MS: {"current": 2.0}})
    seal(connection, sealed_at_ms)
    span = Span(MONDAY_MS + DAY_MS, MONDAY_MS + 8 * DAY_MS)
    whole = read_device(connection, site.id, "battery", span, margin_ms=1)
    parts = read_pieces(connection, site.id, "battery", span, margin_ms=1)
    assert len(parts) == pieces
    assert np.concatenate([part.at_ms for part in parts]).tolist() == whole.at_ms.tolist()
    for name, values in whole.values.items():
        laid = np.concatenate([part.values[name] for part in parts])
        np.testing.assert_array_equal(laid, values, strict=True)


def test_nothing_is_one_piece_of_nothing(connection: Connection, site: Site) -> None:
    [unknown] = read_pieces(connection, site.id, "battery", Span(0, LATER_MS))
    assert (unknown.at_ms.size, unknown.values) == (0, {})
    write_days(connection, site, range(1))
    [silent] = read_pieces(connection, site.id, "battery", Span(0, 1))
    assert {name: values.size for name, values in silent.values.items()} == {"power": 0, "soc": 0}


def test_flags_are_numbers_and_text_is_not_there(connection: Connection, site: Site) -> None:
    columns = [
        Column("fan", "", "flag"),
        Column("state", "", "text"),
        Column("temperature", "Cel"),
    ]
    rows: dict[int, dict[str, Value]] = {
        NOON_MS: {"fan": True, "state": "waiting", "temperature": 31.0},
        NOON_MS + 1: {"fan": False, "state": None, "temperature": None},
    }
    write(connection, site, "inverter", rows, columns)
    readings = read_device(connection, site.id, "inverter", Span(NOON_MS, NOON_MS + 10))
    assert list(readings.values) == ["fan", "temperature"]
    assert readings.values["fan"].tolist() == [1.0, 0.0]
    latest = {one.series.quantity: one for one in latest_readings(connection, site.id)}
    assert latest["fan"].value is False
    assert (latest["state"].value, latest["state"].at_ms) == ("waiting", NOON_MS)
    assert latest["temperature"].value == 31.0


def test_only_the_quantities_asked_for(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0, "soc": 0.5, "current": 2.0}})
    readings = read_device(
        connection,
        site.id,
        "battery",
        Span(NOON_MS, NOON_MS + 1),
        quantities=["current", "power", "colour"],
    )
    assert {name: array.tolist() for name, array in readings.values.items()} == {
        "power": [1.0],
        "current": [2.0],
    }


@pytest.mark.parametrize("device", ["battery", "gnome"])
def test_where_nothing_was_measured_the_arrays_are_empty(
    connection: Connection, site: Site, device: str
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    readings = read_device(connection, site.id, device, Span(0, 1000))
    assert readings.at_ms.shape == (0,)
    assert readings.at_ms.dtype == np.int64
    assert all(array.shape == (0,) for array in readings.values.values())
    assert list(readings.values) == (["power"] if device == "battery" else [])


def test_the_span_of_all_readings_holds_the_first_and_the_last(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    assert readings_span(connection, site.id) is None
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}, NOON_MS + 5: {"power": 1.0}})
    write(connection, site, "grid", {NOON_MS - 70: {"power": 1.0}})
    write(connection, annexe, "grid", {NOON_MS + 900: {"power": 1.0}})
    assert readings_span(connection, site.id) == Span(NOON_MS - 70, NOON_MS + 6)


def test_a_device_without_readings_yet_does_not_hide_the_span_of_others(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    write(connection, site, "grid", {NOON_MS: {"power": None}})
    assert devices_of(connection, site.id) == ["battery", "grid"]
    assert readings_span(connection, site.id) == Span(NOON_MS, NOON_MS + 1)


def test_devices_come_in_order_of_name(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    for device in ("pv", "battery-2", "battery"):
        write(connection, site, device, {NOON_MS: {"power": 1.0}})
    assert devices_of(connection, site.id) == ["battery", "battery-2", "pv"]
    assert devices_of(connection, annexe.id) == []


def test_the_newest_reading_of_each_series(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    write(connection, annexe, "battery", {NOON_MS + 90: {"power": 9.0}})
    write(connection, site, "battery", {NOON_MS: {"power": 1.0, "soc": 0.5, "unborn": None}})
    write(connection, site, "battery", {NOON_MS + 5000: {"power": 2.0}})
    write(connection, site, "battery", {NOON_MS - 5000: {"power": 3.0, "soc": 0.7}})  # late

    def latest() -> dict[str, tuple[int, object]]:
        found = latest_readings(connection, site.id)
        return {one.series.quantity: (one.at_ms - NOON_MS, one.value) for one in found}

    assert latest() == {"power": (5000, 2.0), "soc": (0, 0.5)}
    write(connection, site, "battery", {NOON_MS + 5000: {"power": 4.0}})  # corrected
    assert latest() == {"power": (5000, 4.0), "soc": (0, 0.5)}


@pytest.mark.anew
def test_the_ends_and_the_newest_cost_the_same_however_much_there_is(
    connection: Connection, site: Site
) -> None:
    costs = []
    for first in (0, 100):
        # "state" came once, long ago: a search for it from the newest row would read them all.
        rows: dict[int, dict[str, Value]] = {
            NOON_MS + 5000 * at: {"power": 1.0, "soc": 0.5 if at == 0 else None}
            for at in range(first, 50 * first + 100)
        }
        write(connection, site, "battery", rows)
        with counted_steps(connection) as steps:
            assert readings_span(connection, site.id) is not None
            assert len(latest_readings(connection, site.id)) == 2
        costs.append(steps[0])
    assert costs[0] == costs[1]
