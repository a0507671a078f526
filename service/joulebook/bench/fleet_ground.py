"""Where the simulated homes live: a server's empty database, or files in a scratch folder."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.proving_ground import drop_everything, require_empty


class Ground:
    """Hands out a new database each time it is asked, and takes it away afterwards.

    Parameters
    ----------
    folder : Path
        An empty folder: for files, and for what a data directory has beside a server.
    place : ServerPlace, optional
        A server's database; without it each database is a file.

    Raises
    ------
    UsageError
        If the server's database is not empty: what was in it would be taken away too.
    """

    def __init__(self, folder: Path, place: ServerPlace | None = None) -> None:
        self._folder = folder
        self._place = place
        self._made = 0
        if place is not None:
            require_empty(folder, place)

    @contextmanager
    def fresh(self) -> Iterator[Database]:
        """Hold a database without a home."""
        self._made += 1
        data_dir = self._folder / f"fleet-{self._made}"
        database = Database.open(data_dir, self._place)
        try:
            yield database
        finally:
            if self._place is not None:
                drop_everything(database)
            database.close()
            shutil.rmtree(data_dir)
