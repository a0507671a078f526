"""An older database is copied and then migrated wholly or not at all; a newer one is left alone."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.config import Config
from sqlalchemy import Connection

from joulebook.errors import SchemaError
from joulebook.storage import migrating, schema
from joulebook.storage.catalogue import sites
from joulebook.storage.connections import open_connection
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.migrating import migrate, migrations
from joulebook.storage.schema import prepare
from tests.service.storage.revisions import HEAD, revision_of
from tests.service.storage.saved_database import dump

pytestmark = pytest.mark.on_a_file

BREAKS = """
    op.execute("CREATE TABLE glazes (name VARCHAR)")
    op.execute("ALTER TABLE sites ADD COLUMN kiln VARCHAR")
    op.execute("UPDATE sites SET kiln = 'small'")
    op.execute("DROP TABLE quarantine")
    raise ArithmeticError
"""
WORKS = """
    op.execute("ALTER TABLE sites ADD COLUMN wheel VARCHAR")
    op.execute("UPDATE sites SET wheel = 'oak'")
"""
#: The schema after this version's, and the one after that.
NEXT, NEXT_BUT_ONE = f"{int(HEAD) + 1:04}", f"{int(HEAD) + 2:04}"


def with_step(directory: Path, revision: str, after: str, body: str) -> Config:
    """Return the package's migrations and one more."""
    directory.mkdir(exist_ok=True)
    (directory / f"{revision}_one_more.py").write_text(
        f"from alembic import op\nrevision = {revision!r}\ndown_revision = {after!r}\n"
        f"def upgrade() -> None:\n{body}"
    )
    config = migrations()
    package = Path(schema.__file__).parent / "migrations" / "versions"
    config.set_main_option("path_separator", "newline")
    config.set_main_option("version_locations", f"{package}\n{directory}")
    return config


def test_a_failing_step_rolls_back_wholly(saved: Path, tmp_path: Path) -> None:
    before = dump(saved)
    with pytest.raises(ArithmeticError):
        migrate(saved, with_step(tmp_path / "steps", NEXT, HEAD, BREAKS))
    assert dump(saved) == before
    prepare(saved)  # and this version goes on with it
    assert dump(saved) == before


def test_a_failing_second_step_takes_the_first_one_back(saved: Path, tmp_path: Path) -> None:
    before = dump(saved)
    with_step(tmp_path / "steps", NEXT, HEAD, WORKS)
    with pytest.raises(ArithmeticError):
        migrate(saved, with_step(tmp_path / "steps", NEXT_BUT_ONE, NEXT, BREAKS))
    assert dump(saved) == before


def test_a_failing_first_step_leaves_an_empty_file_that_can_be_tried_again(
    tmp_path: Path,
) -> None:
    path = tmp_path / "joulebook.sqlite3"
    schema._create(path)
    with pytest.raises(ArithmeticError):
        migrate(path, with_step(tmp_path / "steps", NEXT, HEAD, BREAKS))
    prepare(path)
    assert revision_of(path) == HEAD


def test_an_older_database_is_copied_and_then_migrated(saved: Path, tmp_path: Path) -> None:
    before = dump(saved)
    config = with_step(tmp_path / "steps", NEXT, HEAD, WORKS)
    migrate(saved, config)
    assert revision_of(saved) == NEXT
    with closing(open_connection(saved)) as connection:
        assert connection.execute("SELECT DISTINCT wheel FROM sites").fetchall() == [("oak",)]
    copy = saved.with_name(f"joulebook.sqlite3.schema-{HEAD}")
    assert dump(copy) == before
    # By itself also where nothing can be written: format 1 needs no log beside the file
    # (https://www.sqlite.org/fileformat2.html §1.3.3).
    assert copy.read_bytes()[18:20] == bytes([1, 1])
    assert sorted(file.name for file in tmp_path.iterdir() if file.is_file()) == [
        "joulebook.sqlite3",
        f"joulebook.sqlite3.schema-{HEAD}",
    ]
    # Opened again, there is nothing to migrate and so nothing to copy.
    copy.unlink()
    migrate(saved, config)
    assert not copy.exists()


def test_the_copy_can_take_the_file_s_place(saved: Path, tmp_path: Path) -> None:
    config = with_step(tmp_path / "steps", NEXT, HEAD, WORKS)
    migrate(saved, config)
    saved.with_name(f"joulebook.sqlite3.schema-{HEAD}").replace(saved)
    database = Database.open(tmp_path)
    assert [site.name for site in sites(database)] == ["annexe", "studio"]
    with closing(database.connect()) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_without_room_for_the_copy_nothing_is_migrated(
    saved: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = dump(saved)

    def without_room(path: Path, *, create: bool = False) -> sqlite3.Connection:
        connection = open_connection(path, create=create)
        connection.execute("PRAGMA max_page_count = 3")
        return connection

    monkeypatch.setattr(migrating, "open_connection", without_room)
    with pytest.raises(StorageUnavailableError, match="disk is full"):
        migrate(saved, with_step(tmp_path / "steps", NEXT, HEAD, WORKS))
    assert dump(saved) == before
    assert not saved.with_name(f"joulebook.sqlite3.schema-{HEAD}").exists()


def test_a_newer_database_is_refused_untouched(saved: Path, tmp_path: Path) -> None:
    migrate(saved, with_step(tmp_path / "steps", NEXT, HEAD, WORKS))
    before = saved.read_bytes()
    with pytest.raises(SchemaError) as caught:
        Database.open(tmp_path)
    assert str(caught.value).splitlines() == [
        f"the database has schema {NEXT}, this version knows {HEAD}",
        f"  where:    {saved}",
        f"  expected: schema {HEAD} or older",
        "  next:     run the newer joulebook, or restore the backup made before the upgrade",
    ]
    assert caught.value.exit_status == 4
    assert saved.read_bytes() == before


def test_whoever_waited_for_the_lock_does_not_migrate_again(
    saved: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The first look saw an old schema; by the time the lock is ours, another has migrated.
    looks = []
    really_outdated = migrating.is_outdated

    def outdated_at_first(connection: Connection, path: Path, config: Config) -> bool:
        looks.append(really_outdated(connection, path, config))
        return len(looks) == 1

    monkeypatch.setattr(migrating, "is_outdated", outdated_at_first)
    migrate(saved)
    assert looks == [False, False]
    assert [file.name for file in tmp_path.iterdir()] == ["joulebook.sqlite3"]
