"""A site deleted for good: every row that is of it, and the room that the rows took, written over.

On a server nothing is written over at once: its rows are gone for whoever asks, their bytes stay on
its disk until its own cleaning gives their room to others, and in its log and its backups for as
long as those are kept. Who must be sure sooner runs ``VACUUM FULL`` there, and lets old backups go.

What belongs to a site is asked of the database itself, so that a table which comes later is not
forgotten: rows with its id, with the id of one of its devices, or that refer to such rows.
"""

from collections.abc import Callable
from dataclasses import dataclass

from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import Connection, on_server, transaction
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site
from joulebook.storage.tables import column_names, key_of, parents_of, table_names

#: Rows that one transaction deletes, while a service may wait to write.
ROWS_AT_ONCE = 10_000
#: Tables that refer to sites in their own way: by this column, which holds this of a site.
_BY_ANOTHER_COLUMN = {"audit": ("site", "name"), "quarantine_sizes": ("owner", "id")}

#: Emptied before all others: then nobody may write any more, and nothing is kept as final.
_FIRST = ("tokens", "final_before")


@dataclass(frozen=True, slots=True)
class Belonging:
    """A table, and which of its rows are of a site: a condition with ``:id`` and ``:name``."""

    table: str
    condition: str


def belongings(connection: Connection) -> list[Belonging]:
    """Return what holds rows of a site, those that refer to others before the others."""
    names = table_names(connection)
    parents = {name: _parents(connection, name) for name in names}
    conditions = {"sites": "id = :id"}
    order = ["sites"]
    while True:
        more = {
            name: condition
            for name in names
            if name not in conditions
            and (condition := _condition(name, parents[name], conditions)) is not None
        }
        if not more:
            return [Belonging(name, conditions[name]) for name in reversed(order)]
        conditions |= more
        order += more


@names_faults
def delete_site(
    connection: Connection,
    site: Site,
    *,
    who: str,
    now_ms: int,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> int:
    """Delete a site and everything of it; return how many rows went.

    Its tokens go first, so that nothing more is written. Ended in the middle, it is taken up by
    calling it again. A file is written anew at the end, so that nothing of it can be read there.

    Parameters
    ----------
    who : str
        For the audit log, whose other lines of the site go too.
    progress : callable
        Told how many tables of how many are done.

    Raises
    ------
    StorageUnavailableError
        If the disk is full or the database cannot be written.
    """
    if not on_server(connection):
        connection.execute("PRAGMA secure_delete = ON")
    all_of_it = belongings(connection)
    first = [each for name in _FIRST for each in all_of_it if each.table == name]
    rest = [each for each in all_of_it if each.table not in (*_FIRST, "sites")]
    gone = 0
    for done, each in enumerate([*first, *rest], start=1):
        gone += _emptied(connection, each, site)
        progress(done, len(all_of_it))
    with transaction(connection):
        gone += connection.execute("DELETE FROM sites WHERE id = ?", (site.id,)).rowcount
        note_change(
            connection,
            Audited(at_ms=now_ms, who=who, site=None, action="delete site", detail=site.name),
        )
    if not on_server(connection):
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    progress(len(all_of_it), len(all_of_it))
    return gone


def _emptied(connection: Connection, each: Belonging, site: Site) -> int:
    """Delete a table's rows of a site, some at a time, and return how many there were."""
    gone, key = 0, key_of(connection, each.table)
    some = f"SELECT {key} FROM {each.table} WHERE {each.condition} LIMIT {ROWS_AT_ONCE}"  # noqa: S608 -- names of ours
    statement = f"DELETE FROM {each.table} WHERE ({key}) IN ({some})"  # noqa: S608 -- the same
    while True:
        with transaction(connection, (site.id,)):
            count = connection.execute(statement, {"id": site.id, "name": site.name}).rowcount
        gone += count
        if count < ROWS_AT_ONCE:
            return gone


def _parents(connection: Connection, table: str) -> list[tuple[str, str]]:
    """Return the columns that refer to other tables, and to which.

    A column that is called as those which refer to sites or devices does so, declared or not.
    """
    found = parents_of(connection, table)
    columns = column_names(connection, table)
    for column, parent in (("site_id", "sites"), ("device_id", "devices"), ("series_id", "series")):
        if column in columns and (column, parent) not in found:
            found.append((column, parent))
    return found


def _condition(table: str, parents: list[tuple[str, str]], known: dict[str, str]) -> str | None:
    """Return which rows are of a site, ``None`` where nothing tells (yet)."""
    if table in _BY_ANOTHER_COLUMN:
        column, of_site = _BY_ANOTHER_COLUMN[table]
        return f"{column} = :{of_site}"
    for column, parent in parents:
        if parent in known:
            return f"{column} IN (SELECT id FROM {parent} WHERE {known[parent]})"  # noqa: S608
    return None
