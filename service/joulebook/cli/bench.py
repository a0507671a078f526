"""``joulebook bench``: what it takes in bytes and time, beside other ways to keep readings."""

import json
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import click

from joulebook.bench.homes_pages import HomesPages, homes_pages_lines, measure_homes_pages
from joulebook.bench.pages_run import PagesReport, measure_pages, pages_document
from joulebook.bench.pages_table import pages_lines
from joulebook.bench.report import document
from joulebook.bench.run import full, quick, run
from joulebook.bench.table import lines
from joulebook.cli.bench_fleet import bench_fleet
from joulebook.cli.options import clock_ms, json_option, progress_bar
from joulebook.core.curves import MAX_GAP_S
from joulebook.demo.seed import seed
from joulebook.demo.studio import DAY_MS, SITE, STEP_S
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.summaries.record_update import update_record

_TEN_YEARS_MONTHS, _QUICK_MONTHS = 120, 2
_USUAL_PAGES = 40


@click.command()
@click.option(
    "--days",
    type=click.IntRange(2, 3653),
    default=30,
    show_default=True,
    metavar="N",
    help="How many days of 20 series every 10 s; 365 needs 2 GB on disk.",
)
@json_option
@click.option("--alone", is_flag=True, help="Leave the rivals out: ten years in some minutes.")
@click.option("--quick", "is_quick", is_flag=True, help="Two days and few rounds: does it work?")
@click.option(
    "--pages", "of_pages", is_flag=True, help="Measure the pages of a site of ten years instead."
)
@click.option(
    "--homes", "of_homes", is_flag=True, help="Measure the page of 100 and 10,000 homes instead."
)
@click.option(
    "--in",
    "folder",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="DIR",
    help="The disk to measure on; removed afterwards is only what this puts there.",
)
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="With --pages or --homes: where sites are built, kept, and used again by the next run.",
)
@click.option("--fleet", "of_fleet", is_flag=True, help="Measure 10, 100 and 1,000 homes instead.")
@click.option(
    "--database",
    "url",
    metavar="URL",
    help="With --fleet: an empty database of a PostgreSQL server; else a file in a scratch folder.",
)
@click.option(
    "--write",
    "page",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="With --fleet: the page that machines are calculated into, docs/operating/fleet.md.",
)
@click.option(
    "--run",
    "told_before",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="With --fleet and --write: what an earlier run printed with --json, instead of a new run.",
)
def bench(
    days: int,
    *,
    as_json: bool,
    alone: bool,
    is_quick: bool,
    of_pages: bool,
    of_homes: bool,
    folder: Path | None,
    keep: Path | None,
    of_fleet: bool,
    url: str | None,
    page: Path | None,
    told_before: Path | None,
) -> None:
    """Measure bytes and times beside plain SQLite rows, DuckDB and Parquet, on this machine.

    Rivals that are not installed are skipped with a line; the extra 'bench' brings them. Every
    answer is checked before its time is taken. Leave the machine alone meanwhile.

    With --pages, the demonstration's site is told over ten years and served, and every page and
    figure is timed; with playwright and chromium, a slowed-down phone looks at them as well.

    With --homes, invented homes are listed and served, and the page of all of them is timed.

    With --fleet, homes are simulated: what do they cost, and how does that grow with their number?

    \b
    Example: joulebook bench
             joulebook bench --days 365 --json
             joulebook bench --pages --keep DIR
             joulebook bench --fleet --database postgresql://localhost/trial
    """
    if of_fleet:
        bench_fleet(
            folder,
            url=url,
            page=page,
            told_before=told_before,
            is_quick=is_quick,
            as_json=as_json,
        )
        return
    if of_homes:
        print("\n".join(homes_pages_lines(_homes(folder, keep, is_quick=is_quick))))
        return
    if of_pages:
        report = _pages(folder, keep, is_quick=is_quick)
        told = [json.dumps(pages_document(report), indent=2)] if as_json else pages_lines(report)
        print("\n".join(told))
        return
    size = quick(2, alone=alone) if is_quick else full(days, alone=alone)
    with (
        tempfile.TemporaryDirectory(prefix="joulebook-bench-", dir=folder) as scratch,
        progress_bar("measuring") as advance,
    ):
        found = run(size, Path(scratch), advance)
    if as_json:
        print(json.dumps(document(found), indent=2, allow_nan=False))
    else:
        print("\n".join(lines(found)))


@contextmanager
def _kept(folder: Path | None, keep: Path | None) -> Iterator[Path]:
    """Yield where what is built stays for the next run, or goes at the end."""
    if keep is not None:
        yield keep
        return
    with tempfile.TemporaryDirectory(prefix="joulebook-bench-", dir=folder) as scratch:
        yield Path(scratch)


def _homes(folder: Path | None, keep: Path | None, *, is_quick: bool) -> HomesPages:
    """List homes, or go on with those that are there, and measure the page of all of them."""
    few, many, requests = (10, 60, 3) if is_quick else (100, 10_000, 60)
    with _kept(folder, keep) as data_dir:
        return measure_homes_pages(
            data_dir, few=few, many=many, requests=requests, clock_ms=clock_ms
        )


def _pages(folder: Path | None, keep: Path | None, *, is_quick: bool) -> PagesReport:
    """Build the site, or go on with the one that is there, and measure its pages."""
    with ExitStack() as stack:
        data_dir = stack.enter_context(_kept(folder, keep))
        days = _told(data_dir, _QUICK_MONTHS if is_quick else _TEN_YEARS_MONTHS)
        advance = stack.enter_context(progress_bar("visiting"))
        return measure_pages(
            data_dir,
            SITE,
            days=days,
            step_s=STEP_S,
            requests=3 if is_quick else 60,
            visits=1 if is_quick else 5,
            progress=lambda visited: advance(visited, max(visited, _USUAL_PAGES)),
        )


def _told(data_dir: Path, months: int) -> int:
    """Tell the studio's history up to now and analyse it; return how many days that are."""
    with closing(Database.open(data_dir)) as database, progress_bar("telling") as advance:
        history = seed(database, clock_ms=clock_ms, progress=advance, months=months).history
        site = site_named(database, SITE)
        update_record(database, site, clock_ms=clock_ms, max_gap_s=MAX_GAP_S)
        return (clock_ms() - history.start_ms) // DAY_MS
