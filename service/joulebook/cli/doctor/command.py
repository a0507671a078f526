"""``joulebook doctor`` and ``joulebook health``: is this deployment as it should be."""

import json
import platform
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict
from http.client import HTTPException
from importlib.metadata import version
from pathlib import Path

import click

from joulebook import __version__
from joulebook.cli.doctor.clock import check_clock, check_zones
from joulebook.cli.doctor.doors import (
    asked_ready,
    check_broker,
    check_certificate,
    check_service,
)
from joulebook.cli.doctor.findings import Finding, well
from joulebook.cli.doctor.place import (
    check_directory,
    check_file_system,
    check_room,
    check_sync,
)
from joulebook.cli.doctor.store import (
    check_backup,
    check_bridges,
    check_owner,
    growth,
    look_into,
)
from joulebook.cli.options import (
    clock_ms,
    data_option,
    json_option,
    server_place,
    settings_of,
)
from joulebook.errors import UnavailableError
from joulebook.settings import Settings
from joulebook.storage.database import Database
from joulebook.storage.lock import running_service
from joulebook.storage.quick_look import SQLITE_VERSION
from joulebook.storage.room import room_of

_MARKS = {"well": "well", "look": "LOOK", "trouble": "TROUBLE", "unknown": "unknown"}
_LIBRARIES = ("fastapi", "numpy", "paho-mqtt", "pcodec", "sqlalchemy", "uvicorn")

_host_option = click.option("--host", metavar="H", help="As the service has it; else its settings.")
_port_option = click.option("--port", type=int, metavar="N", help="Port of the pages, the same.")


@click.command()
@data_option
@_host_option
@_port_option
@json_option
def doctor(data_dir: Path, host: str | None, port: int | None, *, as_json: bool) -> None:
    """Look at everything around the service, and say what to do next.

    The data directory and its disk, the database, clock and time zones, ports, certificate,
    broker, bridges, backup. Nothing is changed; a file of 40 kB is written and removed to take the
    disk's time. The service may run meanwhile. The exit status is 0 where there is no trouble,
    3 where something is away or wrong around the data, 4 where the data is in danger.

    \b
    Example: joulebook doctor --data DIR
    """
    settings = settings_of(data_dir, host=host, port=port)
    findings = list(_examine(data_dir, settings))
    status = max((one.status for one in findings if one.verdict == "trouble"), default=0)
    if as_json:
        print(json.dumps({"status": status, "findings": [asdict(one) for one in findings]}))
    else:
        print("\n".join(_lines(findings)))
    if status:
        raise click.exceptions.Exit(status)


@click.command()
@data_option
@_host_option
@_port_option
def health(data_dir: Path, host: str | None, port: int | None) -> None:
    """Ask the service of a data directory whether it is ready; for those who watch a container.

    \b
    Example: joulebook health --data DIR
    """
    settings = settings_of(data_dir, host=host, port=port)
    where, next_step = f"{settings.host} port {settings.port}", "joulebook doctor tells more"
    try:
        status, told = asked_ready(settings)
    except (OSError, HTTPException, ValueError) as error:
        raise UnavailableError(
            f"the service does not answer: {error}",
            where=where,
            expected="a running service",
            next_step=next_step,
        ) from error
    if status != 200:
        problems = told.get("problems")
        raise UnavailableError(
            "the service is not ready",
            where=where,
            expected="ready"
            + (f", and not: {'; '.join(problems)}" if isinstance(problems, list) else ""),
            next_step=next_step,
        )
    print("ready")


def _examine(data_dir: Path, settings: Settings) -> Iterator[Finding]:
    now_ms = clock_ms()
    yield _versions()
    yield from check_directory(data_dir)
    if data_dir.is_dir():
        yield from check_file_system(data_dir)
        yield from check_sync(data_dir)
        with closing(Database(data_dir, server_place(settings))) as database:
            seen, findings = look_into(database)
        yield from findings
        size_bytes = room_of(data_dir).database_bytes
        grows = growth(seen, size_bytes, now_ms) if seen and database.server is None else None
        yield from check_room(data_dir, grows, with_database=database.server is None)
        if seen:
            yield from check_owner(seen, settings)
            yield from check_bridges(seen, now_ms)
        yield from check_backup(database, now_ms)
    yield from check_clock()
    yield from check_zones(now_ms)
    yield from check_service(settings, running_service(data_dir))
    yield from check_certificate(settings, now_ms)
    yield from check_broker(settings)


def _versions() -> Finding:
    libraries = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    python = f"Python {platform.python_version()}, SQLite {SQLITE_VERSION}"
    return well("versions", f"joulebook {__version__}, {python}, {libraries}")


def _lines(findings: list[Finding]) -> Iterator[str]:
    for one in findings:
        yield f"{_MARKS[one.verdict]:8} {one.about}: {one.sentence}"
        if one.next_step:
            yield f"         next: {one.next_step}"
    counts = {word: sum(one.verdict == word for one in findings) for word in ("trouble", "look")}
    yield f"{counts['trouble']} in trouble, {counts['look']} to look at"
