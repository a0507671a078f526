"""Which schema a file has, and which is the newest that this version knows."""

from contextlib import closing
from pathlib import Path

from alembic.script import ScriptDirectory

from joulebook.storage.connections import open_connection
from joulebook.storage.migrating import migrations

#: The newest, as Alembic finds it.
HEAD = str(ScriptDirectory.from_config(migrations()).get_current_head())


def revision_of(path: Path) -> object:
    with closing(open_connection(path)) as connection:
        return connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]
