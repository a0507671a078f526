"""What the owner said of a site, as JSON."""

from contextlib import closing
from pathlib import Path

import msgspec

from joulebook.storage.database import Database
from joulebook.storage.new_files import new_file
from joulebook.storage.records import Site
from joulebook.storage.said import Said, said_of


def export_said(database: Database, site: Site, file: Path) -> Said:
    """Write what was said of a site to a file that appears whole or not at all; return it.

    Raises
    ------
    DataRefusedError
        If there is a file of that name.
    UnavailableError
        If the disk is full, or the file cannot be written.
    """
    with closing(database.connect()) as connection:
        said = said_of(connection, site)
    with new_file(file) as unfinished:
        unfinished.write_bytes(msgspec.json.format(msgspec.json.encode(said), indent=2) + b"\n")
    return said
