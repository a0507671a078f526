"""Where homes' readings and results are: told to workers that stand elsewhere, but no secret."""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

from joulebook.errors import UsageError
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
        from its own settings (:func:`use_own`), or else libpq has it from ``PGPASSWORD`` or
        ``PGPASSFILE`` (PostgreSQL manual, 34.15).
    """

    data_dir: Path
    server: ServerPlace | None = None


@dataclass(slots=True)
class _Own:
    server: ServerPlace | None = None


_own = _Own()


def use_own(server: ServerPlace | None) -> None:
    """Say once which server this process knows by itself, its password with it."""
    _own.server = server
    kept.cache_clear()


def place_of(database: Database) -> Place:
    """Return where a database is, to be told to others."""
    return Place(database.data_dir.absolute(), _told(database.server))


@cache
def kept(place: Place) -> Database:
    """Return the database of a place, which this process keeps: a server's connections are dear.

    Whoever hands out tasks has made and migrated what is there.

    Raises
    ------
    UsageError
        If this process knows another server than the one that it is told.
    """
    if _own.server is None:
        return Database(place.data_dir, place.server)
    told, own = (_where(server) for server in (place.server, _told(_own.server)))
    if told != own:
        raise UsageError(
            f"asked to compute in {told}, and this worker's own setting names {own}",
            where="setting database of the worker",
            expected="the same address on every machine",
            next_step="correct the one that is wrong, and start that worker anew",
        )
    return Database(place.data_dir, _few(_own.server))


def _where(server: ServerPlace | None) -> str:
    return "a file" if server is None else server.url


def _told(server: ServerPlace | None) -> ServerPlace | None:
    return None if server is None else replace(_few(server), url=_without_secrets(server.url))


def _few(server: ServerPlace) -> ServerPlace:
    return replace(server, connections=min(server.connections, _CONNECTIONS))


def _without_secrets(url: str) -> str:
    parts = urlsplit(url)
    user, at, host = parts.netloc.rpartition("@")
    query = urlencode([pair for pair in parse_qsl(parts.query) if pair[0] not in _SECRET])
    # Put together here: `urlunsplit` makes another address of one that names no host.
    where = f"{parts.scheme}://{user.partition(':')[0]}{at}{host}{parts.path}"
    return f"{where}?{query}" if query else where
