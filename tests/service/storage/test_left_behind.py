import shutil
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from joulebook.storage.database import Connection, Database, ServerPlace
from joulebook.storage.days import mark_days
from joulebook.storage.left_behind import left_behind, still_to_do
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file


def test_a_good_end_leaves_nothing_to_say(tmp_path: Path) -> None:
    assert left_behind(tmp_path / "new") == []
    Database.open(tmp_path / "new").close()
    assert left_behind(tmp_path / "new") == []


def test_a_log_that_nobody_could_close_is_told_and_holds_what_was_written(
    database: Database, connection: Connection, site: Site, tmp_path: Path
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 12.5}})
    # A copy while it is open is what a power cut leaves.
    shutil.copytree(database.data_dir, tmp_path / "cut")
    (said,) = left_behind(tmp_path / "cut")
    assert said.startswith("the database was not closed the last time, or another program has")
    after = Database.open(tmp_path / "cut")
    with closing(after.connect()) as other:
        assert other.execute("SELECT v0 FROM readings").fetchall() == [(12.5,)]
    assert left_behind(tmp_path / "cut") == []


def test_unfinished_files_are_named_and_others_are_not(tmp_path: Path) -> None:
    for name in (
        "joulebook.sqlite3.0123456789abcdef",
        "monday.sqlite3.0123456789abcdef.unfinished",
        "joulebook.sqlite3.schema-0001",
        "joulebook.toml",
    ):
        (tmp_path / name).touch()
    # Where the database is on a server, nothing of a file matters any more.
    assert left_behind(tmp_path, ServerPlace(url="postgresql://there/studio")) == []
    (tmp_path / "joulebook.sqlite3-wal").touch()  # an empty log is one that was put in place
    assert left_behind(tmp_path) == [
        "left unfinished, and of no use any more: joulebook.sqlite3.0123456789abcdef, "
        "monday.sqlite3.0123456789abcdef.unfinished"
    ]


def test_days_that_are_behind_are_counted(
    database: Database, connection: Connection, site: Site
) -> None:
    mark_days(connection, site.id, [date(2026, 3, 1), date(2026, 3, 2)])
    assert still_to_do(database) == "results are behind their readings on 2 days"
