import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection
from sqlmodel import SQLModel

from joulebook.errors import SchemaError
from joulebook.storage import migrating, schema
from joulebook.storage.catalogue import sites
from joulebook.storage.connections import open_connection
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.migrating import migrate, migrations
from joulebook.storage.models import (
    CorrectionRow,
    DayResultRow,
    DeepTestRow,
    DeviceRow,
    DirtyDayRow,
    EventRow,
    OrganisationRow,
    QuarantineRow,
    RecordMarkRow,
    RecordResultRow,
    SeriesRow,
    SiteRow,
)
from joulebook.storage.models_chain import SealLinkRow
from joulebook.storage.models_homes import HomeLineRow
from joulebook.storage.models_money import TariffRow
from joulebook.storage.models_people import (
    AuditRow,
    OrganisationRoleRow,
    PersonRow,
    RoleRow,
    SessionRow,
    ShareRow,
    TokenRow,
    WelcomeRow,
)
from joulebook.storage.models_reminders import (
    AlertChannelRow,
    AlertDeliveryRow,
    AlertEpisodeRow,
    AlertRuleRow,
    AlertSettingsRow,
    AlertWatchRow,
)
from joulebook.storage.models_setup import SignOffRow
from joulebook.storage.models_zones import ZoneRulesRow
from joulebook.storage.schema import prepare
from tests.service.storage.saved_database import dump, fill

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
MODELS = (
    SiteRow,
    TokenRow,
    DeviceRow,
    SeriesRow,
    DirtyDayRow,
    DayResultRow,
    QuarantineRow,
    CorrectionRow,
    EventRow,
    DeepTestRow,
    RecordResultRow,
    RecordMarkRow,
    AuditRow,
    PersonRow,
    RoleRow,
    SessionRow,
    WelcomeRow,
    ShareRow,
    SealLinkRow,
    AlertWatchRow,
    AlertEpisodeRow,
    AlertRuleRow,
    AlertSettingsRow,
    AlertChannelRow,
    AlertDeliveryRow,
    TariffRow,
    SignOffRow,
    ZoneRulesRow,
    HomeLineRow,
    OrganisationRow,
    OrganisationRoleRow,
)

DRIVER_ONLY = {
    "readings",
    "newest",
    "markings",
    "blocks",
    "hot_days",
    "quarters",
    "dirty_quarters",
    "final_before",
    "quarantine_sizes",
    "broker_sessions",
}
HEAD = str(ScriptDirectory.from_config(migrations()).get_current_head())
#: The schema after this version's, and the one after that.
NEXT, NEXT_BUT_ONE = f"{int(HEAD) + 1:04}", f"{int(HEAD) + 2:04}"


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """A database of this version's schema with a little of everything, closed."""
    path = fill(tmp_path).path
    with closing(open_connection(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


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


def revision_of(path: Path) -> object:
    with closing(open_connection(path)) as connection:
        return connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]


def test_an_empty_directory_gets_the_newest_schema(tmp_path: Path) -> None:
    path = Database.open(tmp_path).path
    assert revision_of(path) == HEAD
    assert [file.name for file in tmp_path.iterdir()] == ["joulebook.sqlite3"]


def test_the_models_are_what_the_migrations_made(database: Database) -> None:
    assert {model.__tablename__ for model in MODELS} == set(SQLModel.metadata.tables)
    assert compare_with_models(database) == []
    with database.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE sites DROP COLUMN installed")
        connection.exec_driver_sql("DROP INDEX ix_quarantine_last")
    found = [(difference[0], difference[-1].name) for difference in compare_with_models(database)]
    assert sorted(found) == [("add_column", "installed"), ("add_index", "ix_quarantine_last")]


def compare_with_models(database: Database) -> list[Any]:
    def of_the_catalogue(
        _thing: object, name: str | None, kind: str, _reflected: bool, _other: object
    ) -> bool:
        # These go through the driver only.
        return not (kind == "table" and name in DRIVER_ONLY)

    with database.engine.execution_options(reads=True).begin() as connection:
        options = {"include_object": of_the_catalogue, "compare_type": True}
        context = MigrationContext.configure(connection, opts=options)
        return list(compare_metadata(context, SQLModel.metadata))


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


def test_processes_that_open_a_new_directory_at_once_agree(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from joulebook.storage.database import Database\n"
        "print('ready', flush=True); input()\n"
        "Database.open(Path(sys.argv[1]) / 'data')\n"
    )
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(tmp_path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(3)
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
    assert [process.communicate(timeout=60)[1] for process in processes] == ["", "", ""]
    assert revision_of(tmp_path / "data" / "joulebook.sqlite3") == HEAD


def test_whoever_was_slower_to_make_the_file_takes_the_other_s(saved: Path, tmp_path: Path) -> None:
    before = dump(saved)
    schema._create(saved)
    assert dump(saved) == before
    assert [file.name for file in tmp_path.iterdir()] == ["joulebook.sqlite3"]


def test_a_disk_without_links_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(_self: Path, _target: Path) -> None:
        raise PermissionError  # EPERM is what link(2) gives there

    monkeypatch.setattr(Path, "hardlink_to", no_links)
    assert sites(Database.open(tmp_path)) == []
    assert [file.name for file in tmp_path.iterdir()] == ["joulebook.sqlite3"]
