"""Changes made at the command line, noted as those made on pages are."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from joulebook.cli.options import clock_ms, existing_database
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.database import Connection, Database, transaction

#: Whoever can start a command on the data directory may do everything.
COMMAND_LINE = "command line"


@contextmanager
def changing(data_dir: Path) -> Iterator[tuple[Database, Connection]]:
    """Open a database that must be there, and change all of what follows or nothing of it."""
    with (
        existing_database(data_dir) as database,
        closing(database.connect()) as connection,
        transaction(connection),
    ):
        yield database, connection


def note(
    connection: Connection,
    action: str,
    *,
    site: str | None = None,
    detail: str = "",
    organisation_id: int | None = None,
) -> None:
    """Note a change, in the transaction that makes it where there is one."""
    note_change(
        connection,
        Audited(
            at_ms=clock_ms(),
            who=COMMAND_LINE,
            site=site,
            action=action,
            detail=detail,
            organisation_id=organisation_id,
        ),
    )
