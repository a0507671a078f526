"""Which quarter hours are read: of what, how long, from where, and in what pieces."""

import pytest

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.spans import Span
from joulebook.storage.database import Connection, Database
from joulebook.storage.periods import DAY_MS
from joulebook.storage.quarters import read_quarters, stream_quarters
from joulebook.storage.records import Column, Site, Value
from tests.helpers.databases import NOON_MS, write
from tests.service.storage.quarter_waves import MIDNIGHT_MS, WEEK, assert_same, save_all, wave


def test_clean_days_are_read_without_their_readings(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", wave(NOON_MS, 30))
    save_all(connection)
    before = read_quarters(connection, site.id, "battery", WEEK)
    connection.execute("DELETE FROM readings")
    # Nor does it matter which version of the method made them: there is no other one to be had.
    for method in ("quarter-hours-1", "quarter-hours-0"):
        connection.execute("UPDATE quarters SET method = ?", (method,))
        after = read_quarters(connection, site.id, "battery", WEEK)
        for name, quarters in before.quantities.items():
            assert_same(after.quantities[name], quarters)
    assert before.quantities["power"].count.sum() == 1800


def test_text_has_none_and_flags_are_shares_of_time(connection: Connection, site: Site) -> None:
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + n * 60_000: {"mode": "run", "fan": n < 5} for n in range(16)
    }
    columns = [Column("mode", "", "text"), Column("fan", "", "flag")]
    write(connection, site, "inverter", rows, columns)
    quarter = Span(NOON_MS, NOON_MS + QUARTER_MS)
    found = read_quarters(connection, site.id, "inverter", quarter).quantities
    assert list(found) == ["fan"]
    # By hand: set for four minutes and half of the fifth, of fifteen.
    assert found["fan"].mean[0] == pytest.approx(4.5 / 15, rel=1e-14)


def test_what_is_asked_for_comes_and_no_more(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", wave(NOON_MS, 2))
    for save in (lambda _: None, save_all):
        save(connection)
        found = read_quarters(connection, site.id, "battery", WEEK, quantities=["soc", "kiln"])
        assert list(found.quantities) == ["soc"]
    assert read_quarters(connection, site.id, "kiln", WEEK).quantities == {}
    assert read_quarters(connection, site.id, "battery", WEEK, quantities=[]).quantities == {}


def test_a_span_is_widened_to_quarter_hours(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", wave(NOON_MS, 2))
    span = Span(NOON_MS + 1, NOON_MS + QUARTER_MS + 1)
    power = read_quarters(connection, site.id, "battery", span).quantities["power"]
    assert power.start_ms.tolist() == [NOON_MS, NOON_MS + QUARTER_MS]
    nothing = Span(NOON_MS, NOON_MS)
    assert read_quarters(connection, site.id, "battery", nothing).quantities == {}


def test_longer_steps_run_through_days_and_months(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", wave(MIDNIGHT_MS - DAY_MS, 72, step_s=300))
    span = Span(MIDNIGHT_MS - DAY_MS, MIDNIGHT_MS + 2 * DAY_MS)
    save_all(connection)
    write(connection, site, "battery", {MIDNIGHT_MS + 1: {"power": 999.0}})
    found = read_quarters(connection, site.id, "battery", span, step_s=5 * 3600)
    assert found.step_s == 18_000
    power = found.quantities["power"]
    assert power.start_ms.tolist() == list(range(span.start_ms, span.end_ms, 18_000_000))
    assert power.count.sum() == 72 * 12 + 1
    assert power.high.max() == 999.0
    with pytest.raises(ValueError, match="not a multiple"):
        read_quarters(connection, site.id, "battery", span, step_s=60)


def test_they_stream_by_months_and_see_one_state(
    database: Database, connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", wave(MIDNIGHT_MS - 3_600_000, 2))
    other = database.connect()
    span = Span(MIDNIGHT_MS - DAY_MS, MIDNIGHT_MS + DAY_MS)
    stream = stream_quarters(connection, site.id, "battery", span)
    february = next(stream)["power"]
    write(other, site, "battery", {MIDNIGHT_MS + 1: {"power": 999.0}})
    march = next(stream)["power"]
    assert (february.count.sum(), march.count.sum()) == (60, 60)
    assert next(stream, None) is None
    assert march.start_ms[0] == MIDNIGHT_MS
    other.close()
