"""What whoever keeps many homes should have tried once: a restore to a moment, and an upgrade
while bridges send. With PostgreSQL's own tools, as docs/operating/fleet-running.md tells.
"""

import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.databases import NOON_MS, write
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.newer_programs import NEWER, newer_program
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.postgres import PostgresServer
from tests.helpers.service import serve, unused_port

pytestmark = pytest.mark.outside


@pytest.fixture
def archiving() -> Iterator[PostgresServer]:
    """A server that hands over its log as it goes, which is what a restore to a moment needs."""
    server = PostgresServer(
        fsync=True,
        settings={
            "archive_mode": "on",
            "archive_command": "mkdir -p ../archive && cp %p ../archive/%f",
            "wal_level": "replica",
            "max_wal_senders": "4",
        },
    )
    server.start()
    yield server
    server.remove()


def _powers(place: ServerPlace, folder: Path) -> list[float]:
    with closing(Database.open(folder, place)) as database:
        site = site_named(database, "studio")
        with closing(database.connect()) as connection:
            found = read_device(connection, site.id, "battery", Span(NOON_MS, NOON_MS + 10_000))
    return [float(power) for power in found.values["power"]]


def test_a_base_backup_and_the_archive_bring_back_a_moment(
    archiving: PostgresServer, tmp_path: Path
) -> None:
    url = archiving.empty_database()
    database = Database.open(tmp_path, ServerPlace(url=url))
    site = add_site(database, "studio", "Europe/Lisbon")
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
        archiving.run(
            *("pg_basebackup", "-h", "127.0.0.1", "-p", str(archiving.port), "-U", "potter"),
            *("-D", archiving.folder / "base", "-X", "none", "-c", "fast"),
        )
        write(connection, site, "battery", {NOON_MS + 1000: {"power": 2.0}})
        (moment,) = connection.execute("SELECT clock_timestamp()::text").fetchone()
        # What must not come back: the mistake that the restore is for.
        connection.execute("DELETE FROM readings")
        write(connection, site, "battery", {NOON_MS + 2000: {"power": 3.0}})
        connection.execute("SELECT pg_switch_wal()")
    database.close()
    archived = archiving.folder / "archive"
    with psycopg.connect(archiving.url("postgres"), autocommit=True) as asked:
        wait_until(lambda: _archived(asked))
    assert _powers(ServerPlace(url=url), tmp_path) == [3.0]
    archiving.stop()

    shutil.rmtree(archiving.data)
    (archiving.folder / "base").rename(archiving.data)
    with (archiving.data / "postgresql.auto.conf").open("a", encoding="utf-8") as settings:
        settings.write(f"restore_command = 'cp {archived}/%f %p'\n")
        settings.write(f"recovery_target_time = '{moment}'\n")
        settings.write("recovery_target_action = 'promote'\n")
    (archiving.data / "recovery.signal").touch()
    archiving.start()
    with psycopg.connect(archiving.url("postgres"), autocommit=True) as asked:
        wait_until(lambda: not asked.execute("SELECT pg_is_in_recovery()").fetchone()[0])  # type: ignore[index]
    assert _powers(ServerPlace(url=url), tmp_path) == [1.0, 2.0]


def _archived(asked: psycopg.Connection[tuple[int, ...]]) -> bool:
    """Tell whether the log up to the last switch is in the archive."""
    (done,) = asked.execute(
        """
        SELECT coalesce(last_archived_wal >= pg_walfile_name(pg_current_wal_lsn() - 1), FALSE)
        FROM pg_stat_archiver
        """
    ).fetchone() or (False,)
    return bool(done)


def test_a_newer_program_migrates_while_the_older_one_goes_on(
    postgres: PostgresServer, tmp_path: Path
) -> None:
    place = ServerPlace(url=postgres.empty_database())
    database = Database.open(tmp_path, place)
    site = add_site(database, "studio", "Europe/Lisbon")
    settings = {"JOULEBOOK_DATABASE": place.url}
    port, log = unused_port(), tmp_path / "log"
    publisher = NumberedPublisher(port, add_token(database, site, "shed"))
    older = serve(tmp_path / "older", mqtt_port=port, log=log, settings=settings)
    publisher.publish(100)
    publisher.wait_for_all()

    program = newer_program(tmp_path / "program")
    newer_settings = {**settings, "PYTHONPATH": str(program)}
    newer = serve(tmp_path / "newer", log=log, settings=newer_settings, measured=False)
    with closing(database.connect()) as connection:
        version = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    assert version == (NEWER,)
    publisher.publish(100)  # to the older one, over the newer schema
    publisher.wait_for_all()
    assert older.end() == 0
    publisher.publish(100)  # to nobody: they wait with the bridge
    assert newer.end() == 0
    again = serve(
        tmp_path / "newer", mqtt_port=port, log=log, settings=newer_settings, measured=False
    )
    publisher.wait_for_all()
    assert again.end() == 0
    with closing(database.connect()) as connection:
        span = Span(START_MS, START_MS + 300_000)
        powers = read_device(connection, site.id, "battery", span).values["power"].tolist()
    assert powers == [float(number) for number in range(300)]
    publisher.stop()
    database.close()
