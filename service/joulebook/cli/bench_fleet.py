"""``joulebook bench --fleet``: what homes cost, and machines for many of them."""

import json
import tempfile
from pathlib import Path
from typing import Any

from joulebook import __version__
from joulebook.bench.fleet_machines import write_machines
from joulebook.bench.fleet_report import FleetReport, fleet_document
from joulebook.bench.fleet_run import FULL, QUICK, run_fleet
from joulebook.bench.fleet_table import fleet_lines
from joulebook.bench.fleet_visits import App
from joulebook.cli.options import progress_bar
from joulebook.errors import UsageError
from joulebook.ingest.inbox import Inbox
from joulebook.storage.database import Database, ServerPlace
from joulebook.web.app import build_app
from joulebook.web.watch.health import Health


def bench_fleet(
    folder: Path | None,
    *,
    url: str | None,
    page: Path | None,
    told_before: Path | None,
    is_quick: bool,
    as_json: bool,
) -> None:
    """Measure fleets, or take what was measured, and say or write what follows."""
    if told_before is not None:
        if page is None:
            raise UsageError(
                "an earlier run has been printed already",
                where="--run",
                expected="--write beside it",
                next_step="name the page that is to be written, or leave --run out",
            )
        write_machines(page, _document_in(told_before))
        print(f"written: {page}")
        return
    if page is not None and (url is None or is_quick):
        raise UsageError(
            "machines for many homes are calculated from a whole run on a server",
            where="--write",
            expected="--database beside it, and not --quick",
            next_step="name an empty database of a server, or leave --write out",
        )
    report = _measured(folder, url, is_quick=is_quick)
    document = fleet_document(report)
    if as_json:
        print(json.dumps(document, indent=2, allow_nan=False))
    else:
        print("\n".join(fleet_lines(report)))
    if page is not None:
        write_machines(page, document)


def _measured(folder: Path | None, url: str | None, *, is_quick: bool) -> FleetReport:
    # Not the setting: what is measured here is filled and emptied, and must be named for it.
    place = None if url is None else ServerPlace(url=url)
    with (
        tempfile.TemporaryDirectory(prefix="joulebook-bench-", dir=folder) as scratch,
        progress_bar("measuring fleets") as advance,
    ):
        return run_fleet(QUICK if is_quick else FULL, Path(scratch), place, pages_of, advance)


def pages_of(database: Database, now_ms: int) -> App:
    """Return the application on a database, its clock standing still."""

    def clock_ms() -> int:
        return now_ms

    return build_app(
        database,
        clock_ms=clock_ms,
        health=lambda: Health(ready=True),
        inbox=Inbox(database, clock_ms=clock_ms),
        wrote=lambda: None,
        version=__version__,
    )


def _document_in(file: Path) -> dict[str, Any]:
    try:
        document: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        _ = document["conditions"]["homes"], document["home"], document["rounds"]
    except (ValueError, TypeError, KeyError) as error:
        raise UsageError(
            f"this is no document of a run over fleets: {error}",
            where=file,
            expected="what 'joulebook bench --fleet --json' printed",
            next_step="print one, or name another file",
        ) from error
    return document
