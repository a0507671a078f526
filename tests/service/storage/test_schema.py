"""A new database gets the newest schema, which is what the models say, whoever makes it first."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlmodel import SQLModel

from joulebook.storage import schema
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
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
from joulebook.storage.models_setup import EventPhotoRow, SignOffRow
from joulebook.storage.models_zones import ZoneRulesRow
from tests.service.storage.revisions import HEAD, revision_of
from tests.service.storage.saved_database import dump

pytestmark = pytest.mark.on_a_file

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
    EventPhotoRow,
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
