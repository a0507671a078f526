"""What a service that was killed, or a machine that lost its power, left in a data directory."""

import re
from contextlib import closing
from pathlib import Path

from joulebook.storage.database import FILE_NAME, Database, ServerPlace
from joulebook.storage.days import dirty_count
from joulebook.storage.new_files import UNFINISHED

# A new database has such a name until it is complete.
_BEGUN = re.compile(rf"{re.escape(FILE_NAME)}\.[0-9a-f]{{16}}(-journal|-wal|-shm)?")


def left_behind(data_dir: Path, server: ServerPlace | None = None) -> list[str]:
    """Return sentences about what a bad end left; look before the database is opened.

    A server puts its own log in place, before it lets anybody in: of it there is nothing to say.

    A log with something in it stays only where nobody could close the database, or has it open
    now. SQLite puts its commits in place by itself, and what was acknowledged is among them.
    """
    if server is not None or not data_dir.is_dir():
        return []
    said = []
    log = data_dir / f"{FILE_NAME}-wal"
    if log.exists() and log.stat().st_size:
        said.append(
            "the database was not closed the last time, or another program has it open: the "
            f"{log.stat().st_size / 1e6:.1f} MB of its log are put in place, with everything that "
            "was acknowledged"
        )
    files = [
        path.name
        for path in sorted(data_dir.iterdir())
        if path.name.endswith(UNFINISHED) or _BEGUN.fullmatch(path.name)
    ]
    if files:
        said.append(f"left unfinished, and of no use any more: {', '.join(files)}")
    return said


def still_to_do(database: Database) -> str:
    """Return a sentence about what is to be computed after such an end."""
    with closing(database.connect()) as connection:
        return f"results are behind their readings on {dirty_count(connection)} days"
