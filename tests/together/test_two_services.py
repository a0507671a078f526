"""Two services on one server, as while one takes over from another: each told once, done once."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.reminders.watcher import Watcher
from joulebook.storage.alert_settings import AlertSettings, add_channel, set_alert_settings
from joulebook.storage.alerts import episodes_of
from joulebook.storage.connections import turn
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.analyst import Analyst
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.postgres import PostgresServer

pytestmark = pytest.mark.outside


@pytest.fixture
def house(postgres: PostgresServer, tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    """One reading, an hour ago, and somebody who is told of silence."""
    database, site = studio(tmp_path, server=postgres.emptied_place())
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0}})
        add_channel(connection, site, label="mine", url="json://h/x", made_ms=NOON_MS)
        set_alert_settings(connection, site, AlertSettings(quiet_from=None, quiet_to=None))
    yield database, site
    database.close()


def _one_round(worker: Watcher | Analyst) -> None:
    wanted = worker.rounds.runs + 1
    worker.start()
    wait_until(lambda: worker.rounds.runs >= wanted)
    worker.stop()


def test_while_one_looks_at_a_site_the_other_passes_it_by(house: tuple[Database, Site]) -> None:
    database, site = house
    watchers = [Watcher(database, clock_ms=lambda: NOON_MS + 3_600_000, send=None) for _ in "ab"]
    with closing(database.connect()) as connection:
        with turn(connection, "reminders", site.id):
            _one_round(watchers[0])
            assert episodes_of(connection, site.id) == []
        for watcher in watchers:
            _one_round(watcher)
        assert len(episodes_of(connection, site.id)) == 1
    assert [watcher.counts().opened for watcher in watchers] == [1, 0]


def test_while_one_analyses_a_record_the_other_does_not(house: tuple[Database, Site]) -> None:
    database, site = house
    analyst = Analyst(database, clock_ms=lambda: NOON_MS + 3_600_000)
    with closing(database.connect()) as connection:
        with turn(connection, "record", site.id):
            _one_round(analyst)
            assert analyst.counts().records_analysed == 0
        _one_round(analyst)
    assert analyst.counts().records_analysed == 1
