"""Where homes' readings and results are: told to workers that stand elsewhere, but no secret."""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

from joulebook.storage.database import Database, ServerPlace

#: What one task may have open at once, with room to spare.
_CONNECTIONS = 5
#: Parameters of an address that are secrets or lead to one (PostgreSQL manual, 34.1.2).
_SECRET = ("password", "sslpassword")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a database is, seen from whoever is told.

    Attributes
    ----------
    data_dir : Path
        The data directory, absolute: a worker stands in a directory of its own.
    server : ServerPlace or None
        The server that is used instead of a file there, without its password: a worker has that
        from its own surroundings, ``PGPASSWORD`` or ``PGPASSFILE`` (PostgreSQL manual, 34.15).
    """

    data_dir: Path
    server: ServerPlace | None = None


def place_of(database: Database) -> Place:
    """Return where a database is, to be told to others."""
    server = database.server
    if server is not None:
        url = _without_secrets(server.url)
        server = replace(server, url=url, connections=min(server.connections, _CONNECTIONS))
    return Place(database.data_dir.absolute(), server)


@cache
def kept(place: Place) -> Database:
    """Return the database of a place, which this process keeps: a server's connections are dear.

    Whoever hands out tasks has made and migrated what is there.
    """
    return Database(place.data_dir, place.server)


def _without_secrets(url: str) -> str:
    parts = urlsplit(url)
    user, at, host = parts.netloc.rpartition("@")
    query = urlencode([pair for pair in parse_qsl(parts.query) if pair[0] not in _SECRET])
    # Put together here: `urlunsplit` makes another address of one that names no host.
    where = f"{parts.scheme}://{user.partition(':')[0]}{at}{host}{parts.path}"
    return f"{where}?{query}" if query else where
