"""Gives disk space back that rows have left behind."""

from joulebook.storage.connections import Connection, on_server
from joulebook.storage.faults import names_faults

#: Less than this is not worth writing the file anew: the next days' rows will use it. [bytes]
LEAST_FREE = 64 * 1024 * 1024


@names_faults
def shrink(connection: Connection) -> bool:
    """Write the file anew where more than half of it is free; return whether it was.

    A server does that by itself.

    Writers wait until it is done, a second or two for ten years of blocks; readers do not. For
    that time the disk must hold what is used once or twice more.

    Raises
    ------
    StorageUnavailableError
        If there is no room for that. The file is as it was.
    """
    if on_server(connection):
        return False
    free, pages, size = (
        connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("freelist_count", "page_count", "page_size")
    )
    if free * size < LEAST_FREE or 2 * free < pages:
        return False
    connection.execute("VACUUM")
    return True
