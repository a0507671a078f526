"""Old readings go when all is computed, and nothing of what was computed goes with them."""

from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import clear_results, day_results, dirty_days, mark_days
from joulebook.storage.quarters import read_quarters
from joulebook.storage.reading import read_device, readings_span
from joulebook.storage.records import Site
from joulebook.storage.retention import Removed, remove_old
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import recompute
from joulebook.summaries.summariser import Summariser
from tests.helpers.databases import studio, write
from tests.helpers.mqtt_inbox import wait_until

HOUR_MS, DAY_MS = 3_600_000, 86_400_000


def ms(year: int, month: int, day: int = 1) -> int:
    return round(datetime(year, month, day, tzinfo=UTC).timestamp() * 1000)


#: The last reading is of noon on 2026-03-01; two years before it the month began here.
NOW_MS = ms(2026, 3) + 12 * HOUR_MS
FINAL_MS = ms(2024, 3)
#: Lisbon keeps the time of UTC in winter, so that its day begins with the month.
FINAL_DAY = date(2024, 3, 1)


@pytest.fixture(autouse=True)
def years(site: Site, connection: Connection) -> None:
    """An hourly power for weeks on both sides of the end, and some of today; all of it sealed."""
    first = FINAL_MS - 30 * DAY_MS
    rows = {first + at * HOUR_MS: {"power": 100.0 + at} for at in range(60 * 24)}
    rows[NOW_MS] = {"power": 1.0}
    write(connection, site, "pv", rows)
    seal(connection, NOW_MS)


def compute(database: Database, site: Site) -> None:
    recompute(database, site, clock_ms=lambda: NOW_MS)
    rebuild_quarters(database, site)


def run(connection: Connection, site: Site, years: int = 2, now_ms: int = NOW_MS) -> Removed:
    return remove_old(connection, site, now_ms=now_ms, keep_years=years)


def everything_computed(connection: Connection, site: Site) -> tuple[object, list[float]]:
    span = Span(FINAL_MS - 40 * DAY_MS, FINAL_MS + 40 * DAY_MS)
    quarters = read_quarters(connection, site.id, "pv", span).quantities["power"]
    means = np.nan_to_num(np.concatenate([quarters.last, quarters.low]), nan=-1.0)
    return day_results(connection, site.id, None, None), means.tolist()


def first_ms(connection: Connection, site: Site) -> int:
    span = readings_span(connection, site.id)
    assert span is not None
    return span.start_ms


def test_old_readings_go_and_what_was_computed_of_them_stays(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    before = everything_computed(connection, site)
    removed = run(connection, site)
    # Whole blocks, so up to a week more stays, and always the day before what may change.
    assert FINAL_MS - 8 * DAY_MS <= first_ms(connection, site) <= FINAL_MS - DAY_MS
    assert removed.rows == (first_ms(connection, site) - (FINAL_MS - 30 * DAY_MS)) // HOUR_MS
    assert (removed.final_before, removed.waits_for) == (FINAL_DAY, None)
    assert everything_computed(connection, site) == before
    assert run(connection, site) == Removed(0, FINAL_DAY)
    assert verify(database, result_fault=lambda _method, _result: None).damage == []


def test_computing_everything_anew_changes_nothing_that_is_final_and_nothing_else(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    before = everything_computed(connection, site)
    run(connection, site)
    compute(database, site)
    assert everything_computed(connection, site) == before
    clear_results(connection, site.id)
    kept = {day for day, _, _ in day_results(connection, site.id, None, None)}
    assert max(kept) == FINAL_DAY - timedelta(days=1)
    assert min(dirty.day for dirty in dirty_days(connection, 10**6)) == FINAL_DAY


def test_a_late_reading_of_a_final_day_asks_for_nothing_and_goes_again(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    run(connection, site)
    before = everything_computed(connection, site)
    write(connection, site, "pv", {FINAL_MS - 25 * DAY_MS + 1: {"power": 7.0}})
    assert dirty_days(connection) == []
    mark_days(connection, site.id, [FINAL_DAY - timedelta(days=3)])
    assert dirty_days(connection) == []
    assert everything_computed(connection, site) == before
    assert run(connection, site).rows == 1
    assert first_ms(connection, site) > FINAL_MS - 9 * DAY_MS


FEBRUARY_MS = FINAL_MS - 29 * DAY_MS
_RESULT = "INSERT INTO day_results VALUES (1, ?, 'day-9', ?, 0)"
_ANEW = "ON CONFLICT (site_id, day)"
_QUARTERS = "INSERT INTO quarters VALUES (1, ?, 'quarter-9', ?)"
_MONTH = "ON CONFLICT (device_id, start_ms)"


@pytest.mark.parametrize(
    ("statement", "values"),
    [
        ("UPDATE day_results SET result = ? WHERE day = ?", (b"{}", "2024-02-10")),
        (f"{_RESULT} {_ANEW} DO UPDATE SET result = excluded.result", ("2024-02-10", b"{}")),
        (_RESULT, ("2023-02-10", b"{}")),
        ("DELETE FROM day_results WHERE day = ?", ("2024-02-29",)),
        ("UPDATE quarters SET data = ? WHERE start_ms = ?", (b"", FEBRUARY_MS)),
        (f"{_QUARTERS} {_MONTH} DO UPDATE SET data = excluded.data", (FEBRUARY_MS, b"")),
        (_QUARTERS, (ms(2023, 12), b"")),
        ("DELETE FROM quarters WHERE start_ms = ?", (FEBRUARY_MS,)),
        ("INSERT INTO dirty_days VALUES (1, ?, 1)", ("2024-02-29",)),
        ("INSERT INTO dirty_quarters VALUES (1, ?, 1)", (FINAL_MS // DAY_MS - 1,)),
    ],
)
def test_the_database_itself_passes_over_every_change_of_what_is_final(
    database: Database,
    site: Site,
    connection: Connection,
    statement: str,
    values: tuple[bytes | str | int, ...],
) -> None:
    compute(database, site)
    everything = "SELECT * FROM {} ORDER BY 1, 2"
    run(connection, site)
    tables = ("day_results", "quarters", "dirty_days", "dirty_quarters")
    before = [connection.execute(everything.format(name)).fetchall() for name in tables]
    assert len(before[1]) > 1
    connection.execute(statement, values)
    assert [connection.execute(everything.format(name)).fetchall() for name in tables] == before


def test_nothing_goes_before_its_day_has_a_result(
    database: Database, site: Site, connection: Connection
) -> None:
    start_ms = first_ms(connection, site)
    assert run(connection, site).waits_for == f"the result of {FINAL_DAY - timedelta(days=31)}"
    recompute(database, site, clock_ms=lambda: NOW_MS)
    told = run(connection, site).waits_for
    assert told == f"the quarter hours of {FINAL_DAY - timedelta(days=31)} (UTC)"
    rebuild_quarters(database, site)
    connection.execute("DELETE FROM day_results WHERE day = '2024-02-10'")
    assert run(connection, site) == Removed(0, None, "the result of 2024-02-10")
    assert first_ms(connection, site) == start_ms


def test_what_comes_between_the_look_and_the_lock_is_seen(
    database: Database, site: Site, connection: Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    compute(database, site)

    def late(*_: object) -> None:
        with closing(database.connect()) as another:
            mark_days(another, site.id, [date(2024, 2, 10)])

    monkeypatch.setattr("joulebook.storage.retention._to_compute", late)
    assert run(connection, site) == Removed(0, None, "the result of 2024-02-10")


def test_a_clock_far_ahead_costs_nothing(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    assert run(connection, site, now_ms=ms(2080, 1)).final_before == FINAL_DAY
    assert first_ms(connection, site) >= FINAL_MS - 8 * DAY_MS


@pytest.mark.parametrize("years", [3, 100])
def test_younger_readings_stay(
    database: Database, site: Site, connection: Connection, years: int
) -> None:
    compute(database, site)
    assert run(connection, site, years) == Removed(0, None)


def test_keeping_longer_later_brings_nothing_back_and_removes_nothing(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    run(connection, site)
    start_ms = first_ms(connection, site)
    assert run(connection, site, 50) == Removed(0, FINAL_DAY)
    assert first_ms(connection, site) == start_ms
    assert len(read_device(connection, site.id, "pv", Span(0, NOW_MS)).at_ms) > 30 * 24


def test_hot_rows_go_too_and_an_empty_site_has_nothing(tmp_path: Path) -> None:
    database, site = studio(tmp_path / "hot", "Asia/Kathmandu")  # its day begins at 18:15 UTC
    with closing(database.connect()) as connection:
        assert run(connection, site) == Removed(0, None)
        rows = {FINAL_MS + at * HOUR_MS: {"power": 1.0} for at in range(-200, 200)}
        write(connection, site, "pv", rows | {NOW_MS: {"power": 1.0}})
        compute(database, site)
        # The first local day that begins in March is the second one's.
        assert run(connection, site) == Removed(200 - 24, date(2024, 3, 2))
        assert first_ms(connection, site) == FINAL_MS - DAY_MS
        days = connection.execute("SELECT min(day) FROM hot_days").fetchone()
        assert days == ((FINAL_MS - DAY_MS) // DAY_MS,)


def test_less_than_a_year_is_a_bug(site: Site, connection: Connection) -> None:
    with pytest.raises(ValueError, match="keep_years is 0"):
        run(connection, site, 0)


def test_the_summariser_leaves_final_days_alone(
    database: Database, site: Site, connection: Connection
) -> None:
    compute(database, site)
    run(connection, site)
    # As where a method changes: the summariser then computes all anew that is of another one.
    if on_server(connection):
        connection.execute("SET session_replication_role = replica")  # its triggers rest
    else:
        connection.execute("DROP TRIGGER final_day_results_update")
    connection.execute("UPDATE day_results SET method = 'day-0' WHERE day = '2024-02-10'")
    before = day_results(connection, site.id, None, None)
    summariser = Summariser(database, clock_ms=lambda: NOW_MS, settle_s=0.0)
    summariser.start()
    write(connection, site, "pv", {NOW_MS + 1: {"power": 2.0}})
    summariser.nudge()
    wait_until(lambda: summariser.counts().days_computed > 0)
    summariser.stop()
    after = day_results(connection, site.id, None, None)
    assert [one for one in after if one[0] < FINAL_DAY] == [
        one for one in before if one[0] < FINAL_DAY
    ]
