"""A database that an earlier version left behind, opened by this one."""

from contextlib import closing
from datetime import date
from pathlib import Path

import numpy as np

from joulebook.core.spans import Span
from joulebook.storage.catalogue import check_token, sites
from joulebook.storage.database import Database
from joulebook.storage.days import day_results, dirty_days
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import latest_readings, read_device
from joulebook.storage.series import series_of
from tests.service.storage.saved_database import FIRST_MS, REFUSED, SAVED, SECRET, load, save


def test_the_saved_database_is_what_its_maker_makes(tmp_path: Path) -> None:
    # Once schema 0002 is there, this file can no longer be made, and this test goes.
    save(tmp_path / "again.sql")
    assert (tmp_path / "again.sql").read_text(encoding="utf-8") == SAVED.read_text(encoding="utf-8")


def test_the_saved_database_is_read_by_this_version(tmp_path: Path) -> None:
    database = Database.open(load(tmp_path).parent)
    annexe, studio = sites(database)
    assert (annexe.name, annexe.timezone, annexe.battery_ah) == ("annexe", "Pacific/Apia", None)
    assert (studio.battery_cells, studio.installed) == (16, date(2025, 1, 15))
    grant = check_token(database, "bridge", SECRET)
    assert grant is not None
    assert (grant.site, grant.site_id) == ("studio", studio.id)
    with closing(database.connect()) as connection:
        assert [series.quantity for series in series_of(connection, studio.id)] == [
            "power",
            "soc",
            "state",
            "fan",
        ]
        span = Span(FIRST_MS, FIRST_MS + 60_000)
        battery = read_device(connection, studio.id, "battery", span)
        assert battery.at_ms.tolist() == [FIRST_MS, FIRST_MS + 5000, FIRST_MS + 10000]
        np.testing.assert_array_equal(battery.values["power"], [812.5, -0.25, np.nan])
        np.testing.assert_array_equal(battery.values["soc"], [0.5, np.nan, 0.75])
        latest = {one.series.quantity: one.value for one in latest_readings(connection, studio.id)}
        assert latest == {"power": -0.25, "soc": 0.75, "state": "waiting", "fan": True}
        # Two minutes before midnight: both days are concerned.
        assert [dirty.day for dirty in dirty_days(connection)] == [
            date(2026, 3, 2),
            date(2026, 3, 1),
        ]
        results = day_results(connection, studio.id, None, None)
        assert results == [(date(2026, 3, 1), "day-1", b"{}")]
        (kept,) = quarantined(connection, studio.id)
        assert (kept.refused, kept.times_seen) == (REFUSED, 2)
