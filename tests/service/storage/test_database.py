"""SQLite's header: https://www.sqlite.org/fileformat2.html §1.3 (magic, application id at 68)."""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import SchemaError, UsageError
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import (
    Database,
    DatabaseDamagedError,
    ServerPlace,
    StorageUnavailableError,
)
from joulebook.storage.records import Site
from joulebook.storage.series import series_of
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file


@pytest.mark.parametrize("name", ["plain", "with space", "per%20cent", "what?now", "half#way", "é"])
def test_it_makes_the_directory_and_the_file_whatever_their_names(
    tmp_path: Path, name: str
) -> None:
    data_dir = tmp_path / name / "data"
    database = Database.open(data_dir)
    assert database.path == data_dir / "joulebook.sqlite3"
    assert database.path.read_bytes()[:16] == b"SQLite format 3\x00"
    assert database.path.read_bytes()[68:72] == b"joul"
    assert sites(database) == []


def test_it_keeps_strangers_out_of_the_directory_it_makes(tmp_path: Path) -> None:
    Database.open(tmp_path / "data")
    assert (tmp_path / "data").stat().st_mode & 0o077 == 0


def test_it_opens_again_what_it_made(tmp_path: Path) -> None:
    first = Database.open(tmp_path)
    add_site(first, "studio", "Europe/Lisbon")
    first.close()
    assert [site.name for site in sites(Database.open(tmp_path))] == ["studio"]


def test_commits_of_a_connection_are_on_disk(connection: sqlite3.Connection) -> None:
    # https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL, a sync after each commit.
    assert _pragma(connection, "journal_mode") == "wal"
    assert _pragma(connection, "synchronous") == 2
    assert _pragma(connection, "foreign_keys") == 1
    assert _pragma(connection, "busy_timeout") == 30_000


def test_the_catalogue_s_commits_are_on_disk_too(database: Database) -> None:
    with database.engine.begin() as catalogue:
        assert catalogue.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2
        assert catalogue.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def _pragma(connection: sqlite3.Connection, name: str) -> object:
    return connection.execute(f"PRAGMA {name}").fetchone()[0]


def test_it_refuses_a_text_file_untouched(tmp_path: Path) -> None:
    path = tmp_path / "joulebook.sqlite3"
    path.write_text("The kiln's diary. Please keep!\n" * 40)
    _refused_untouched(path)


def test_it_refuses_an_empty_file_untouched(tmp_path: Path) -> None:
    path = tmp_path / "joulebook.sqlite3"
    path.touch()
    _refused_untouched(path)


def test_it_refuses_somebody_else_s_database_untouched(tmp_path: Path) -> None:
    path = tmp_path / "joulebook.sqlite3"
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("CREATE TABLE glazes (name TEXT)")
    _refused_untouched(path)


def _refused_untouched(path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(SchemaError) as caught:
        Database.open(path.parent)
    assert str(caught.value).splitlines() == [
        "this file is no database of joulebook",
        f"  where:    {path}",
        "  expected: a database that joulebook made, or no file at all",
        "  next:     choose another data directory, or move the file away",
    ]
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


def test_a_data_directory_that_is_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "data").touch()
    with pytest.raises(StorageUnavailableError, match="data directory cannot be used") as caught:
        Database.open(tmp_path / "data")
    assert caught.value.where == str(tmp_path / "data")


def test_a_database_that_was_taken_away_is_named_and_not_made_anew(database: Database) -> None:
    database.path.unlink()
    with pytest.raises(StorageUnavailableError, match="cannot be opened"):
        database.connect()
    with pytest.raises(StorageUnavailableError, match="cannot be opened"):
        sites(database)
    assert not database.path.exists()


def test_a_file_that_was_overwritten_is_named(database: Database) -> None:
    database.path.write_bytes(b"not SQLite " * 1000)
    with pytest.raises(DatabaseDamagedError, match="file is not a database") as caught:
        database.connect()
    assert caught.value.where == str(database.path)
    assert "restore the last backup" in caught.value.next_step


def test_a_page_that_was_overwritten_is_named(database: Database, site: Site) -> None:
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    with closing(database.connect()) as connection:
        roots = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE rootpage > 0"
        ).fetchall()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    # The first page of every table and index; the schema, which tells where they are, stays.
    whole = bytearray(database.path.read_bytes())
    for (page,) in roots:
        whole[(page - 1) * size : page * size] = b"\xff" * size
    database.path.write_bytes(whole)
    with closing(database.connect()) as connection:
        with pytest.raises(DatabaseDamagedError, match="malformed") as caught:
            series_of(connection, site.id)
        assert caught.value.where == str(database.path)
    with pytest.raises(DatabaseDamagedError, match="malformed"):
        sites(database)


def test_without_the_driver_of_a_server_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "joulebook.storage.postgres.server", None)
    with pytest.raises(UsageError, match="driver is not installed") as caught:
        Database.open(tmp_path, ServerPlace(url="postgresql://kiln/homes"))
    assert "pip install 'joulebook[fleet]'" in caught.value.next_step
