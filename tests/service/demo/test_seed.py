from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.quantities import QUANTITIES
from joulebook.core.spans import Span, local_day
from joulebook.demo import seed as seed_module
from joulebook.demo.history import History, came
from joulebook.demo.seed import seed
from joulebook.demo.studio import TIMEZONE, ZONE
from joulebook.errors import DataRefusedError
from joulebook.ingest.bulk import BulkImport, DeviceColumns
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.days import day_results, dirty_count
from joulebook.storage.reading import read_device, readings_span
from joulebook.storage.records import DeviceReadings, Written
from joulebook.summaries.reports import day_results_of

NOW_MS = int(datetime(2026, 3, 20, 18, 1, 17, tzinfo=UTC).timestamp() * 1000)
INSTALLED = date(2026, 2, 20)


def run(database: Database, now_ms: int = NOW_MS) -> tuple[int, int, list[tuple[int, int]]]:
    told: list[tuple[int, int]] = []
    counts = seed(
        database,
        clock_ms=lambda: now_ms,
        progress=lambda done, of: told.append((done, of)),
        months=1,
    )
    return counts.new, counts.days, told


def stored(database: Database, device: str) -> DeviceReadings:
    everything = Span(0, 2 * NOW_MS)
    with closing(database.connect()) as connection:
        return read_device(connection, site_named(database, "studio").id, device, everything)


def assert_stored_as_told(database: Database, until_ms: int) -> int:
    """Check that the database holds the whole history up to an instant; return its readings."""
    history, count = History(INSTALLED), 0
    [stretch] = history.until(until_ms, 1000)
    for device, (at_ms, values) in came(stretch, history.start_ms).items():
        readings = stored(database, device)
        # An instant that brought no reading at all is no row.
        wanted = (at_ms <= until_ms) & ~np.isnan(list(values.values())).all(axis=0)
        np.testing.assert_array_equal(readings.at_ms, at_ms[wanted])
        for quantity, column in values.items():
            np.testing.assert_array_equal(readings.values[quantity], column[wanted])
            count += int((~np.isnan(column[wanted])).sum())
    return count


@pytest.fixture
def database(tmp_path: Path) -> Database:
    return Database.open(tmp_path)


def test_the_first_run_makes_the_site_its_readings_and_its_days(database: Database) -> None:
    new, days, told = run(database)
    site = site_named(database, "studio")
    assert (site.timezone, site.battery_ah, site.battery_cells) == (TIMEZONE, 200, 16)
    assert (site.installed, site.warranty_years) == (INSTALLED, 10)
    assert (site.inverter_w, site.inverter_peak_w) == (5000, 10_000)
    assert new == assert_stored_as_told(database, NOW_MS)
    assert days == 29  # 20 February to 20 March
    results = day_results_of(database, site, None, None)
    assert len(results) == 29
    assert results[3].coverage_ratio > 0.5
    # Progress rises to its end.
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1] == (58, 58)
    with closing(database.connect()) as connection:
        span = readings_span(connection, site.id)
    assert span is not None
    # The bridge was switched on at ten in the morning.
    assert span.start_ms == local_day(INSTALLED, ZONE).start_ms + 10 * 3_600_000
    assert 0 <= NOW_MS - span.end_ms < 120_000
    for device, of in QUANTITIES.items():
        assert list(stored(database, device).values) == list(of)


def test_a_later_run_goes_on_with_the_same_history(database: Database) -> None:
    first, _, _ = run(database)
    later_ms = NOW_MS + 36 * 3_600_000
    second, days, _ = run(database, later_ms)
    assert second > 0
    assert first + second == assert_stored_as_told(database, later_ms)
    assert days == 31
    again, days, told = run(database, later_ms)
    assert (again, days) == (0, 0)
    assert told[-1] == (62, 62)  # the bar is full all the same


def test_a_clock_that_went_back_changes_nothing(database: Database) -> None:
    run(database)
    assert run(database, NOW_MS - 86_400_000)[:2] == (0, 0)
    assert run(database, NOW_MS - 60 * 86_400_000)[:2] == (0, 0)


def test_what_a_run_left_half_done_the_next_one_finishes(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Interrupted(BulkImport):
        def add(self, columns: DeviceColumns) -> Written:
            if columns.device == "grid":
                raise KeyboardInterrupt
            return super().add(columns)

    with monkeypatch.context() as patched:
        patched.setattr(seed_module, "BulkImport", Interrupted)
        with pytest.raises(KeyboardInterrupt):
            run(database)
    _, days, _ = run(database)
    assert_stored_as_told(database, NOW_MS)
    assert days == 29
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 0
        assert len(day_results(connection, site_named(database, "studio").id, None, None)) == 29


@pytest.mark.parametrize("installed", [None, INSTALLED])
def test_somebody_elses_studio_is_left_alone(database: Database, installed: date | None) -> None:
    add_site(database, "barn", TIMEZONE)
    add_site(database, "studio", TIMEZONE, battery_ah=280, battery_cells=16, installed=installed)
    with pytest.raises(DataRefusedError, match="the demonstration did not make"):
        run(database)
    with closing(database.connect()) as connection:
        assert readings_span(connection, site_named(database, "studio").id) is None
