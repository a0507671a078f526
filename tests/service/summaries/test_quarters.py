"""Quarter hours kept up with the readings, by the summariser and on demand."""

from contextlib import closing
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import days_span
from joulebook.storage.database import Database
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import DAY_MS, day_of
from joulebook.storage.quarter_marks import dirty_quarters
from joulebook.storage.quarters import read_quarters
from joulebook.storage.records import Site
from joulebook.summaries.quarters import catch_up_quarters, rebuild_quarters
from joulebook.summaries.summariser import Summariser
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.stored_plants import FIRST, LAST, plant_studio


def dirty(database: Database) -> int:
    with closing(database.connect()) as connection:
        return len(dirty_quarters(connection))


def means(database: Database, site: Site) -> NDArray[np.float64]:
    span = days_span(FIRST, LAST, site.zone)
    with closing(database.connect()) as connection:
        found = read_quarters(connection, site.id, "battery", span, quantities=["power"])
    return found.quantities["power"].mean


def test_they_can_be_thrown_away_and_built_again(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    before = means(database, site)
    days = rebuild_quarters(database, site)
    assert days == rebuild_quarters(database, site)
    assert dirty(database) == 0
    assert len(before) == 3 * 96
    np.testing.assert_allclose(means(database, site), before, rtol=0, atol=1e-6)
    database.close()


def test_today_waits_until_no_reading_can_reach_it(tmp_path: Path) -> None:
    database, _, plant = plant_studio(tmp_path)
    last_day = day_of(int(plant.at_ms[-1]))
    over_ms = (last_day + 1) * DAY_MS + REACH_MS
    with closing(database.connect()) as connection:
        catch_up_quarters(connection, now_ms=over_ms - 1)
        assert {each.day for each in dirty_quarters(connection)} == {last_day}
        assert catch_up_quarters(connection, now_ms=over_ms) > 0
        assert dirty_quarters(connection) == []
        assert catch_up_quarters(connection, now_ms=over_ms) == 0
    database.close()


def test_it_stops_between_months_of_devices(tmp_path: Path) -> None:
    database, _, _ = plant_studio(tmp_path)
    all_days = dirty(database)
    answers = iter([False, True])
    with closing(database.connect()) as connection:
        done = catch_up_quarters(connection, now_ms=2**45, stopping=lambda: next(answers))
    assert 0 < done < all_days
    assert dirty(database) == all_days - done
    database.close()


def test_the_summariser_stores_them(tmp_path: Path) -> None:
    database, site, plant = plant_studio(tmp_path)
    rebuild_quarters(database, site)
    with closing(database.connect()) as connection:
        connection.execute("UPDATE quarters SET method = 'quarter-hours-0'")
    now_ms = int(plant.at_ms[-1]) + 3 * DAY_MS
    summariser = Summariser(database, clock_ms=lambda: now_ms, settle_s=0.0)
    summariser.start()
    wait_until(lambda: summariser.counts().days_computed >= 5 and outdated(database) == 0)
    summariser.stop()
    database.close()


def outdated(database: Database) -> int:
    with closing(database.connect()) as connection:
        (count,) = connection.execute(
            "SELECT count(*) FROM quarters WHERE method = 'quarter-hours-0'"
        ).fetchone()
    return int(count)


def test_a_site_without_readings_has_none(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        connection.execute("DELETE FROM readings")
        connection.execute("DELETE FROM hot_days")
    assert rebuild_quarters(database, site) == 0
    database.close()
