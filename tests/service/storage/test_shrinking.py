import re
from pathlib import Path

import pytest

from joulebook.storage import shrinking
from joulebook.storage.database import Connection, Database, StorageUnavailableError
from joulebook.storage.records import Site
from joulebook.storage.sealing import seal, seal_all
from joulebook.storage.shrinking import LEAST_FREE, shrink
from tests.helpers.sealed import LATER_MS, power, write_days

pytestmark = pytest.mark.on_a_file

PAGE = (Path(__file__).parents[3] / "docs" / "database.md").read_text(encoding="utf-8")


def free_pages(connection: Connection) -> int:
    (count,) = connection.execute("PRAGMA freelist_count").fetchone()
    return int(count)


def test_a_file_that_is_mostly_free_is_written_anew(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shrinking, "LEAST_FREE", 4096)
    write_days(connection, site, range(3), rows=2880)
    expected = power(connection, site)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = database.path.stat().st_size
    seal_all(database, LATER_MS)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert database.path.stat().st_size < before / 2
    assert free_pages(connection) == 0
    assert power(connection, site) == expected
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_little_room_is_left_for_the_next_rows(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(3), rows=2880)
    seal(connection, LATER_MS)
    free = free_pages(connection)
    assert 0 < free * 4096 < LEAST_FREE
    assert not shrink(connection)
    assert free_pages(connection) == free
    assert f"(and {LEAST_FREE // 2**20} MB)" in re.sub(r"\s+", " ", PAGE)


def test_a_file_that_is_mostly_used_is_left_alone(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shrinking, "LEAST_FREE", 0)
    write_days(connection, site, range(3), rows=2880)
    assert not shrink(connection)


def test_a_file_that_is_locked_keeps_its_size(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shrinking, "LEAST_FREE", 0)
    write_days(connection, site, range(3), rows=2880)
    seal(connection, LATER_MS)
    connection.execute("PRAGMA busy_timeout = 0")
    other = database.connect()
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageUnavailableError, match="locked"):
        shrink(connection)
    other.close()
    assert shrink(connection)
