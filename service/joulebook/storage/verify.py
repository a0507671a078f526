"""Looks at everything in a database, and names what is damaged."""

from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from functools import partial
from pathlib import Path

from joulebook.errors import UsageError
from joulebook.storage.connections import (
    Connection,
    joined_snapshot,
    on_server,
    open_connection,
)
from joulebook.storage.database import FILE_NAME, Database
from joulebook.storage.faults import DatabaseDamagedError, naming_faults
from joulebook.storage.findings import Findings, ResultFault
from joulebook.storage.schema import refuse_unknown
from joulebook.storage.tables import bytes_of, parents_of, table_names
from joulebook.storage.verify_links import check_links
from joulebook.storage.verify_photos import check_photos
from joulebook.storage.verify_quarters import check_quarters
from joulebook.storage.verify_readings import check_readings
from joulebook.storage.verify_sealed import check_blocks

#: More sentences than this of SQLite's own check help nobody.
_MOST_SENTENCES = 20


def verify(database: Database, *, result_fault: ResultFault) -> Findings:
    """Look at everything in a database; a service may run meanwhile.

    Nothing is created, migrated or mended: the database need not have been opened. A server looks
    at its own pages by itself; where it finds one damaged, it says so when that is read here.

    Raises
    ------
    UsageError
        If the data directory, or the server, has no database of ours yet.
    SchemaError
        If it is newer than this version, or no database of ours.
    StorageUnavailableError
        If it cannot be read.
    """
    if database.server is None:
        return verify_file(database_file(database.data_dir), result_fault=result_fault)
    database.refuse_unknown()
    findings = Findings()
    with closing(database.connect()) as connection:
        _look(connection, findings, database.where, result_fault)
    return findings


def database_file(data_dir: Path) -> Path:
    """Return the database of a data directory, which must be there.

    Raises
    ------
    UsageError
        If it is not.
    """
    path = data_dir / FILE_NAME
    if not path.exists():
        raise UsageError(
            "there is no database in this data directory",
            where=data_dir,
            expected=f"a directory with {FILE_NAME} in it",
            next_step="check --data",
        )
    return path


def verify_file(path: Path, *, result_fault: ResultFault) -> Findings:
    """Look at everything in a database file, as :func:`verify` does."""
    findings = Findings()
    try:
        refuse_unknown(path)
        with closing(open_connection(path)) as connection, joined_snapshot(connection):
            # A text with a flipped byte must be told, and not stop us from reading on.
            connection.text_factory = partial(str, encoding="utf-8", errors="replace")
            _noted("pages", partial(_structure, connection, findings), path, findings)
            _look(connection, findings, path, result_fault)
    except DatabaseDamagedError as error:  # too damaged to be opened
        findings.damage.append(f"file: {error.__cause__}")
    return findings


def _look(
    connection: Connection, findings: Findings, where: Path | str, result_fault: ResultFault
) -> None:
    """Run all checks that both stores have; on a server each sees one commit of its own."""
    for what, check in (
        ("catalogue", _references),
        ("readings", check_readings),
        ("blocks", check_blocks),
        ("chain of what was sealed", check_links),
        ("quarter hours", check_quarters),
        ("day results", partial(_results, result_fault)),
        ("photos", check_photos),
    ):

        def looked(check: Callable[[Connection, Findings], None] = check) -> None:
            with joined_snapshot(connection):
                check(connection, findings)

        _noted(what, looked, where, findings)


def _noted(what: str, check: Callable[[], None], where: Path | str, findings: Findings) -> None:
    """Run a check; what it stumbles over is damage too, and does not keep others from running."""
    try:
        with naming_faults(where):
            check()
    except DatabaseDamagedError as error:
        findings.damage.append(f"{what}: {error.__cause__}")


def _structure(connection: Connection, findings: Findings) -> None:
    """Check every page and index: SQLite's own check."""
    (findings.checked["pages"],) = connection.execute("PRAGMA page_count").fetchone()
    sentences = connection.execute(f"PRAGMA integrity_check({_MOST_SENTENCES})").fetchall()
    findings.damage += [f"pages: {sentence}" for (sentence,) in sentences if sentence != "ok"]


def _references(connection: Connection, findings: Findings) -> None:
    """Check that what a row of the catalogue refers to is there."""
    for table in ("sites", "tokens", "devices", "series"):
        (findings.checked[table],) = connection.execute(
            f"SELECT count(*) FROM {table}"  # noqa: S608 -- names of ours
        ).fetchone()
    findings.damage += [
        f"a row of {table} refers to a row of {parent} that is not there"
        for table, parent in _orphans(connection)
    ]


def _orphans(connection: Connection) -> Iterator[tuple[str, str]]:
    """Yield (table, parent) for each row whose parent is gone; on a server once for a column."""
    if not on_server(connection):
        for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check"):
            yield table, parent
        return
    for table in table_names(connection):
        for column, parent in parents_of(connection, table):
            orphan = connection.execute(
                f"SELECT 1 FROM {table} WHERE NOT EXISTS (SELECT 1 FROM {parent} "  # noqa: S608 -- names of ours
                f"WHERE {parent}.id = {table}.{column}) AND {column} IS NOT NULL LIMIT 1"
            ).fetchone()
            if orphan is not None:
                yield table, parent


def _results(result_fault: ResultFault, connection: Connection, findings: Findings) -> None:
    """Check that each day's result can be read."""
    findings.checked["day results"] = 0
    # A site at a time: a server sends whole answers.
    for (site_id,) in connection.execute(
        "SELECT DISTINCT site_id FROM day_results ORDER BY site_id"
    ).fetchall():
        for site, day, method, result in connection.execute(
            f"""
            SELECT
                coalesce(sites.name, 'site ' || site_id), day, method,
                {bytes_of(connection, "result")}
            FROM day_results
            LEFT JOIN sites ON sites.id = site_id
            WHERE site_id = ?
            ORDER BY day
            """,  # noqa: S608 -- the name of a column
            (site_id,),
        ):
            findings.checked["day results"] += 1
            fault = result_fault(method, result) if _is_date(day) else f"dated {day!r}"
            if fault:
                findings.damage.append(f"the result of {site}, {day}, cannot be read: {fault}")


def _is_date(day: str) -> bool:
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return True
