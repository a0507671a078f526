"""Stored quarter hours are what the readings say, whatever happens to the readings."""

import logging
from collections.abc import Callable
from dataclasses import fields

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from joulebook.core.daily.quarters import QUARTER_MS, Quarters, quarter_hours
from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.periods import DAY_MS
from joulebook.storage.quarter_marks import dirty_quarters
from joulebook.storage.quarter_saving import save_quarters
from joulebook.storage.quarters import fresh_quarters, read_quarters
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site, Value
from joulebook.storage.sealing import seal
from tests.helpers.databases import NOON_MS, write
from tests.service.storage.quarter_waves import MIDNIGHT_MS, WEEK, assert_same, save_all, wave


def check(connection: Connection, site: Site, device: str = "battery", span: Span = WEEK) -> None:
    """Hold what is read to what all readings of the span give at once, day by day."""
    found = read_quarters(connection, site.id, device, span).quantities
    readings = read_device(connection, site.id, device, span, margin_ms=300_000)
    assert found.keys() == readings.values.keys()
    for start_ms in range(span.start_ms, span.end_ms, DAY_MS):
        day = Span(start_ms, start_ms + DAY_MS)
        near = (readings.at_ms >= day.start_ms - 300_000) & (readings.at_ms < day.end_ms + 300_000)
        expected = quarter_hours(
            readings.at_ms[near],
            {name: value[near] for name, value in readings.values.items()},
            span=day,
        )
        first = (start_ms - span.start_ms) // QUARTER_MS
        for name, quarters in found.items():
            part = Quarters(
                **{
                    field.name: getattr(quarters, field.name)[first : first + 96]
                    for field in fields(Quarters)
                }
            )
            assert_same(part, expected[name])


def test_they_are_right_before_and_after_they_are_stored(
    connection: Connection, site: Site
) -> None:
    # From the last day of February into March.
    write(connection, site, "battery", wave(MIDNIGHT_MS - 7 * 3_600_000, 40))
    check(connection, site)
    save_all(connection)
    assert dirty_quarters(connection) == []
    check(connection, site)
    months = connection.execute("SELECT start_ms FROM quarters ORDER BY start_ms").fetchall()
    assert months == [(MIDNIGHT_MS - 28 * DAY_MS,), (MIDNIGHT_MS,)]


@pytest.mark.parametrize(
    "change",
    [
        wave(NOON_MS - 6 * 3_600_000, 2),  # late
        wave(NOON_MS, 1, scale=7.0),  # replaced
        wave(MIDNIGHT_MS + DAY_MS, 0.05, step_s=30),  # a line across midnight
        {NOON_MS: {"fan": 1.0}},  # a series of its own
    ],
)
def test_late_and_replaced_readings_are_seen_at_once(
    connection: Connection, site: Site, change: dict[int, dict[str, Value]]
) -> None:
    write(connection, site, "battery", wave(NOON_MS, 12))
    save_all(connection)
    write(connection, site, "battery", change)
    check(connection, site)
    save_all(connection)
    check(connection, site)


def test_sealing_changes_nothing(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", wave(NOON_MS, 30))
    save_all(connection)
    seal(connection, NOON_MS + 40 * DAY_MS)
    check(connection, site)
    write(connection, site, "battery", wave(NOON_MS + 500, 1))
    check(connection, site)
    save_all(connection)
    seal(connection, NOON_MS + 41 * DAY_MS)
    check(connection, site)


def test_a_day_that_changes_while_it_is_computed_stays_dirty(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", wave(NOON_MS, 1))
    (each,) = dirty_quarters(connection)
    computed = dict(fresh_quarters(connection, site.id, "battery", [each.day]))
    write(connection, site, "battery", wave(NOON_MS + 1, 1))
    save_quarters(connection, site.id, "battery", computed, {each.day: each.mark})
    (still,) = dirty_quarters(connection)
    assert still.mark > each.mark
    check(connection, site)


def test_what_was_computed_of_earlier_readings_does_not_replace_later_quarters(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", wave(NOON_MS, 1))
    (slow,) = dirty_quarters(connection)
    earlier = dict(fresh_quarters(connection, site.id, "battery", [slow.day]))
    write(connection, site, "battery", wave(NOON_MS + 1, 1))
    save_all(connection)
    save_quarters(connection, site.id, "battery", earlier, {slow.day: slow.mark})
    assert slow.day not in {each.day for each in dirty_quarters(connection)}
    check(connection, site)


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        ("UPDATE quarters SET data = substr(data, 1, 100)", True),
        ("UPDATE quarters SET method = 'quarter-hours-0'", False),
    ],
)
def test_what_is_damaged_or_outdated_is_computed_from_the_readings(
    connection: Connection,
    site: Site,
    caplog: pytest.LogCaptureFixture,
    damage: str,
    told: bool,
) -> None:
    write(connection, site, "battery", wave(NOON_MS, 30))
    save_all(connection)
    connection.execute(damage)
    with caplog.at_level(logging.WARNING):
        check(connection, site)
    assert ("quarter hours of device 1 are damaged" in caplog.text) is told
    # The next day that is stored there makes the whole month dirty, and it is built again.
    write(connection, site, "battery", {NOON_MS + 4 * DAY_MS: {"power": 1.0}})
    (each,) = dirty_quarters(connection)
    computed = dict(fresh_quarters(connection, site.id, "battery", [each.day]))
    save_quarters(connection, site.id, "battery", computed, {each.day: each.mark})
    assert len(dirty_quarters(connection)) == 30
    check(connection, site)
    save_all(connection)
    check(connection, site)


ACTIONS: list[Callable[[Connection], object]] = [
    save_all,
    lambda connection: seal(connection, NOON_MS + 3 * DAY_MS),
    lambda connection: seal(connection, NOON_MS + 40 * DAY_MS),
]
WRITES = st.tuples(st.integers(-200, 400), st.integers(1, 40), st.integers(1, 900))


@settings(
    derandomize=True,
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.one_of(st.sampled_from(ACTIONS), WRITES), max_size=12))
def test_in_any_order_of_writing_storing_and_sealing(
    connection: Connection,
    site: Site,
    steps: list[Callable[[Connection], object] | tuple[int, int, int]],
) -> None:
    # A device for each example: they share the database.
    (count,) = connection.execute("SELECT count(*) FROM devices").fetchone()
    device = f"battery-{count}"
    write(connection, site, device, {NOON_MS: {"power": 1.0, "soc": 0.5}})
    for step in steps:
        if isinstance(step, tuple):
            start, readings, step_s = step
            rows = wave(NOON_MS + start * 600_000, readings * step_s / 3600, step_s, scale=readings)
            write(connection, site, device, rows or {NOON_MS: {"power": 2.0}})
        else:
            step(connection)
    check(connection, site, device)
