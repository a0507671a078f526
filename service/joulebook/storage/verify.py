"""Looks at everything in a database, and names what is damaged."""

from collections.abc import Callable
from contextlib import closing
from datetime import date
from functools import partial
from pathlib import Path

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined_snapshot, open_connection
from joulebook.storage.database import FILE_NAME
from joulebook.storage.faults import DatabaseDamagedError, naming_faults
from joulebook.storage.findings import Findings, ResultFault
from joulebook.storage.schema import refuse_unknown
from joulebook.storage.verify_links import check_links
from joulebook.storage.verify_quarters import check_quarters
from joulebook.storage.verify_sealed import check_blocks

#: More sentences than this of SQLite's own check help nobody.
_MOST_SENTENCES = 20

# What SQLite calls a value of each kind; a missing one is "null" in all of them. Numbers are
# written as floats, yet a whole one is a number too.
_STORED_AS = {"number": ("real", "integer"), "text": ("text",), "flag": ("integer",)}


def verify(data_dir: Path, *, result_fault: ResultFault) -> Findings:
    """Look at everything in a data directory's database; a service may run meanwhile.

    Nothing is created, migrated or mended.

    Raises
    ------
    UsageError
        If the data directory has no database.
    SchemaError
        If the file is newer than this version, or no database of ours.
    StorageUnavailableError
        If it cannot be read.
    """
    return verify_file(database_file(data_dir), result_fault=result_fault)


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
            for what, check in (
                ("pages", _structure),
                ("catalogue", _references),
                ("readings", _readings),
                ("blocks", check_blocks),
                ("chain of what was sealed", check_links),
                ("quarter hours", check_quarters),
                ("day results", partial(_results, result_fault)),
            ):
                _noted(what, partial(check, connection, findings), path, findings)
    except DatabaseDamagedError as error:  # too damaged to be opened
        findings.damage.append(f"file: {error.__cause__}")
    return findings


def _noted(what: str, check: Callable[[], None], path: Path, findings: Findings) -> None:
    """Run a check; what it stumbles over is damage too, and does not keep others from running."""
    try:
        with naming_faults(path):
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
        for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check")
    ]


def _readings(connection: Connection, findings: Findings) -> None:
    """Check that each reading has its series, and is of its kind."""
    columns = [
        name
        for (name,) in connection.execute(
            "SELECT name FROM pragma_table_info('readings') WHERE name LIKE 'v%'"
        )
    ]
    devices = dict(
        connection.execute(
            """
            SELECT devices.id, sites.name || '/' || devices.name
            FROM devices
            JOIN sites ON sites.id = devices.site_id
            """
        )
    )
    findings.checked |= {"rows": 0, "readings": 0}
    for (device_id,) in connection.execute("SELECT DISTINCT device_id FROM readings").fetchall():
        device = devices.get(device_id, f"device {device_id}, which is not there")
        series = {
            f"v{slot}": (quantity, kind)
            for quantity, kind, slot in connection.execute(
                "SELECT quantity, kind, slot FROM series WHERE device_id = ?", (device_id,)
            )
        }
        _device(connection, findings, device_id, device, columns, series)


def _device(
    connection: Connection,
    findings: Findings,
    device_id: int,
    device: str,
    columns: list[str],
    series: dict[str, tuple[str, str]],
) -> None:
    sums = ", ".join(f"count({name}), {_good(name, series.get(name))}" for name in columns)
    rows, *counts = connection.execute(
        f"SELECT count(*), {sums} FROM readings WHERE device_id = ?",  # noqa: S608 -- names of ours
        (device_id,),
    ).fetchone()
    findings.checked["rows"] += rows
    for name, stored, good in zip(columns, counts[::2], counts[1::2], strict=True):
        findings.checked["readings"] += stored
        if stored == good:
            continue
        if name not in series:
            findings.damage.append(f"{stored} readings of {device} in {name} have no series")
            continue
        quantity, kind = series[name]
        findings.damage.append(f"{stored - good} readings of {device}.{quantity} are no {kind}")


def _good(name: str, series: tuple[str, str] | None) -> str:
    """Return the expression that counts the readings of a column that are of its kind."""
    if series is None:
        return "0"
    types = ", ".join(f"'{name}'" for name in _STORED_AS.get(series[1], ()))
    return f"sum(typeof({name}) IN ({types}))"


def _results(result_fault: ResultFault, connection: Connection, findings: Findings) -> None:
    """Check that each day's result can be read."""
    findings.checked["day results"] = 0
    for site, day, method, result in connection.execute(
        """
        SELECT coalesce(sites.name, 'site ' || site_id), day, method, CAST(result AS BLOB)
        FROM day_results
        LEFT JOIN sites ON sites.id = site_id
        ORDER BY site_id, day
        """
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
