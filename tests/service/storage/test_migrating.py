"""Alembic is loaded where it has work to do, and nowhere else."""

import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from alembic.script import ScriptDirectory

from joulebook.storage.connections import open_connection
from joulebook.storage.migrating import migrations

pytestmark = pytest.mark.on_a_file

_OPENING = """
import sys
from pathlib import Path
from joulebook.storage.database import Database
Database.open(Path(sys.argv[1])).close()
print("alembic" in sys.modules)
"""


def test_alembic_is_loaded_only_where_there_is_something_to_migrate(tmp_path: Path) -> None:
    def opened() -> str:
        return subprocess.run(
            [sys.executable, "-c", _OPENING, str(tmp_path)],
            check=True,
            capture_output=True,
            text=True,
        ).stdout.strip()

    assert opened() == "True"  # a new file
    assert opened() == "False"
    # Put back from a backup, it has no log yet.
    with closing(open_connection(tmp_path / "joulebook.sqlite3")) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    assert opened() == "True"
    assert opened() == "False"


def test_a_migration_is_named_for_its_revision() -> None:
    # What is newest is told by the names of the files where Alembic is not loaded.
    for revision in ScriptDirectory.from_config(migrations()).walk_revisions():
        assert Path(revision.path).name.startswith(f"{revision.revision}_")
