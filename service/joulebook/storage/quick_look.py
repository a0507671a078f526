"""A short look at a database for those who check a deployment; changes and migrates nothing."""

import sqlite3
from contextlib import closing
from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined_snapshot, on_server
from joulebook.storage.database import Database
from joulebook.storage.faults import names_faults
from joulebook.storage.names import IS_WHOLE
from joulebook.storage.people import has_owner
from joulebook.storage.reading import readings_span
from joulebook.storage.schema import newest_schema

#: Of the library that Python brings along.
SQLITE_VERSION = sqlite3.sqlite_version


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSpan:
    """A site and the instants of its first and newest reading; ``None`` where it has none. [ms]"""

    name: str
    first_ms: int | None
    newest_ms: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickLook:
    """What a database looks like at a glance.

    Attributes
    ----------
    store : str
        Which kind of database it is, with a server's version.
    sentences : tuple of str
        What SQLite's quick check objects to; empty when nothing, and of a server, which has none.
    schema : str
        The database's.
    outdated : bool
        Whether it is older than this version's: the next start brings it up to date, and until
        then nothing else is told.
    owned : bool
        Whether somebody owns this joulebook.
    sites : tuple of SiteSpan
        Each site with its readings.
    """

    sentences: tuple[str, ...]
    schema: str
    store: str = "SQLite"
    outdated: bool = False
    owned: bool = False
    sites: tuple[SiteSpan, ...] = ()


def quick_look(database: Database) -> QuickLook:
    """Look at a database that need not have been opened.

    Raises
    ------
    UsageError
        If a server's database is empty.
    SchemaError
        If it is newer than this version, or no database of ours.
    DatabaseDamagedError
        If SQLite cannot read it.
    StorageUnavailableError
        If it cannot be opened, or the server is away.
    """
    database.refuse_unknown()
    with closing(database.connect()) as connection, joined_snapshot(connection):
        return _look(connection)


@names_faults
def _look(connection: Connection) -> QuickLook:
    if on_server(connection):
        checked = []
        (version,) = connection.execute("SHOW server_version").fetchone()
        store = f"PostgreSQL {version.split()[0]}"
    else:
        checked = [sentence for (sentence,) in connection.execute("PRAGMA quick_check(5)")]
        store = "SQLite"
    sentences = tuple(sentence for sentence in checked if sentence != "ok")
    (schema,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if schema != newest_schema():
        return QuickLook(sentences=sentences, schema=schema, store=store, outdated=True)
    spans = []
    whole = f"SELECT id, name FROM sites WHERE {IS_WHOLE} ORDER BY name"  # noqa: S608 -- a condition of ours
    for site_id, name in connection.execute(whole).fetchall():
        span = readings_span(connection, site_id)
        spans.append(
            SiteSpan(
                name=name,
                first_ms=span.start_ms if span else None,
                newest_ms=span.end_ms - 1 if span else None,
            )
        )
    return QuickLook(
        sentences=sentences,
        schema=schema,
        store=store,
        owned=has_owner(connection),
        sites=tuple(spans),
    )
