"""A series as it is kept is the series as it is read, sealed or hot, whole or not."""

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.reading import read_device
from joulebook.storage.records import Column, Site
from joulebook.storage.sealing import seal
from joulebook.storage.stepped import stream_stepped
from tests.helpers.databases import write
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS, write_days

WHOLE = Span(MONDAY_MS - 30 * DAY_MS, MONDAY_MS + 30 * DAY_MS)


def assert_as_read(
    connection: Connection, site: Site, quantity: str = "power", span: Span = WHOLE
) -> list[str]:
    """Compare with `read_device`, and return the types of the parts."""
    parts = list(stream_stepped(connection, site.id, "battery", quantity, span))
    read = read_device(connection, site.id, "battery", span, quantities=[quantity])
    there = ~np.isnan(read.values[quantity])
    at_ms = [ms for part in parts for ms in part.clock.at_ms().tolist()]
    values = [value for part in parts for value in (part.whole * part.step / part.divisor).tolist()]
    assert at_ms == read.at_ms[there].tolist()
    assert values == read.values[quantity][there].tolist()
    return [part.whole.dtype.name for part in parts]


def test_sealed_days_and_weeks_come_as_whole_steps(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(9))
    seal(connection, LATER_MS)
    assert assert_as_read(connection, site) == ["int16"] * 7 + [
        "float64"
    ]  # the week of the hot one
    seal(connection, MUCH_LATER_MS)
    assert assert_as_read(connection, site) == ["int16"] * 2
    assert assert_as_read(connection, site, "soc") == ["int16"] * 2


def test_a_span_within_a_week_is_read_the_long_way(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(9))
    seal(connection, MUCH_LATER_MS)
    span = Span(MONDAY_MS + DAY_MS, MONDAY_MS + 8 * DAY_MS)
    assert assert_as_read(connection, site, span=span) == ["float64", "float64"]


def test_late_readings_lie_over_the_week_that_they_come_to(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(14))
    seal(connection, MUCH_LATER_MS)
    write(connection, site, "battery", {MONDAY_MS + 8 * DAY_MS: {"power": -3.5}})
    write(connection, site, "battery", {MONDAY_MS + 8 * DAY_MS + 1: {"power": 4.25}})
    assert assert_as_read(connection, site) == ["int16", "float64"]
    span = Span(MONDAY_MS + 8 * DAY_MS, MONDAY_MS + 9 * DAY_MS)
    assert assert_as_read(connection, site, span=span) == ["float64"]


def test_readings_that_are_missing_are_left_out(connection: Connection, site: Site) -> None:
    rows = {
        MONDAY_MS + 10_000 * row: {"power": float(row), "soc": 0.5 if row % 3 else None}
        for row in range(100)
    }
    write(connection, site, "battery", rows)
    seal(connection, LATER_MS)
    assert assert_as_read(connection, site) == ["int16"]
    assert assert_as_read(connection, site, "soc") == ["float64"]


def test_what_is_no_decimal_comes_as_floats(connection: Connection, site: Site) -> None:
    random = np.random.default_rng(1)
    rows = {MONDAY_MS + 10_000 * row: {"power": random.normal()} for row in range(100)}
    write(connection, site, "battery", rows)
    seal(connection, LATER_MS)
    assert assert_as_read(connection, site) == ["float64"]


def test_a_series_that_a_block_has_never_seen_is_not_in_it(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(2))
    write(
        connection,
        site,
        "battery",
        {MONDAY_MS + DAY_MS: {"current": 7.0}},
        [Column("current", "A")],
    )
    seal(connection, LATER_MS)
    assert assert_as_read(connection, site, "current") == ["float64"]
    assert list(stream_stepped(connection, site.id, "battery", "frequency", WHOLE)) == []


def test_a_damaged_block_is_named_and_its_neighbours_are_read(
    connection: Connection, site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    write_days(connection, site, range(3))
    seal(connection, LATER_MS)
    rows = connection.execute("SELECT id, data FROM blocks ORDER BY start_ms").fetchall()
    for (block_id, _), torn in zip(rows, (rows[0][1][:-1] + b"?", rows[1][1][:60]), strict=False):
        connection.execute("UPDATE blocks SET data = ? WHERE id = ?", (torn, block_id))
    assert assert_as_read(connection, site, "soc") == ["int16"]
    assert "studio/battery" in caplog.text
