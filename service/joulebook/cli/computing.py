"""``joulebook recompute`` and ``joulebook analyse``: results anew, of one site or of all."""

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import click

from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    progress_bar,
    settings_of,
)
from joulebook.crew.comparing import compare_all
from joulebook.crew.places import place_of
from joulebook.crew.report import Report, failed_sentence
from joulebook.crew.runs import RESTS_S, Crew, Run
from joulebook.crew.tasks import Kind, Task
from joulebook.crew.threads import ThreadCrew
from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.settings import Settings
from joulebook.storage.catalogue import site_named, sites
from joulebook.storage.database import Database
from joulebook.summaries.recompute import recompute as recompute_site
from joulebook.summaries.record_update import update_record

Command = TypeVar("Command", bound=Callable[..., Any])


def _whose_options(command: Command) -> Command:
    """Add ``--site`` or ``--every-site``, and who computes these."""
    for option in (
        json_option,
        click.option("--scheduler", metavar="ADDRESS", help="Such as tcp://127.0.0.1:8786."),
        click.option("--every-site", is_flag=True, help="All sites; one that fails stops none."),
        click.option("--site", "site_name", metavar="NAME", help="The site."),
        data_option,
    ):
        command = option(command)
    return command


@click.command()
@_whose_options
def recompute(
    data_dir: Path, site_name: str | None, scheduler: str | None, *, every_site: bool, as_json: bool
) -> None:
    """Compute every day of a site anew from its readings, and then its whole record.

    With --every-site, of all sites: each on a worker of the setting 'scheduler', else in threads,
    and at last each beside homes like it. Ctrl-C leaves finished sites finished.

    \\b
    Example: joulebook recompute --site studio --data DIR
    """
    settings = settings_of(data_dir, scheduler=scheduler)
    _check_whose(site_name, every_site=every_site, scheduler=scheduler, as_json=as_json)
    if site_name is None:
        _of_every_site(data_dir, "recompute", settings, as_json=as_json)
        return
    with existing_database(data_dir) as database, progress_bar("computing days") as advance:
        site = site_named(database, site_name)
        days = recompute_site(
            database, site, clock_ms=clock_ms, max_gap_s=settings.max_gap_s, progress=advance
        )
        update_record(database, site, clock_ms=clock_ms, max_gap_s=settings.max_gap_s)
    print(f"computed: {_counted(days, 'day')}")


@click.command()
@_whose_options
def analyse(
    data_dir: Path, site_name: str | None, scheduler: str | None, *, every_site: bool, as_json: bool
) -> None:
    """Compute what is behind of a site: days, and then its whole record. Twice changes nothing.

    A running service does so by itself, one site after the other. With --every-site it is the
    nightly work of many homes, each on a worker of the setting 'scheduler', else in threads, and
    at last each beside homes like it.

    \\b
    Example: joulebook analyse --every-site --data DIR
    """
    settings = settings_of(data_dir, scheduler=scheduler)
    _check_whose(site_name, every_site=every_site, scheduler=scheduler, as_json=as_json)
    _of_every_site(data_dir, "analyse", settings, only=site_name, as_json=as_json)


def _check_whose(
    site_name: str | None, *, every_site: bool, scheduler: str | None, as_json: bool
) -> None:
    if (site_name is None) != every_site:
        raise UsageError(
            "one site, or all of them?",
            where="--site, --every-site",
            expected="one of the two",
            next_step="give the name of a site, or --every-site",
        )
    if site_name is not None and (scheduler or as_json):
        raise UsageError(
            "these options are for many sites",
            where="--scheduler, --json",
            expected="--every-site beside them",
            next_step="leave them away",
        )


def _of_every_site(
    data_dir: Path, kind: Kind, settings: Settings, *, only: str | None = None, as_json: bool
) -> None:
    with existing_database(data_dir) as database, progress_bar("computing sites") as advance:
        wanted = [site_named(database, only)] if only else sites(database)
        tasks = [Task(kind=kind, site=site.name, max_gap_s=settings.max_gap_s) for site in wanted]
        crew = _crew(database, settings.scheduler if only is None else "")
        report = Run(*(crew, tasks), total=len(tasks), progress=advance, rests_s=RESTS_S).go()
        if only is None and not report.left:
            compare_all(database, now_ms=clock_ms())
    _tell(report, as_json=as_json)


def _crew(database: Database, scheduler: str) -> Crew:
    """Return the scheduler's workers where one is named, else threads."""
    if not scheduler:
        return ThreadCrew(database)
    try:
        # Here, for a house with one home need not have it, and no service loads it.
        from joulebook.crew.scheduler import SchedulerCrew
    except ImportError as error:
        raise UsageError(
            f"a scheduler cannot be used: {error}",
            where="setting 'scheduler'",
            expected="joulebook installed with its extra: joulebook[fleet]",
            next_step="pip install 'joulebook[fleet]', or leave the setting away",
        ) from error
    return SchedulerCrew(scheduler, place_of(database))


def _tell(report: Report, *, as_json: bool) -> None:
    """Say what was computed; raise where that is not all."""
    if as_json:
        print(
            json.dumps(
                {
                    "done": [asdict(each) for each in report.done],
                    "failed": [asdict(each) for each in report.failed],
                    "left": report.left,
                    "tried_again": report.repeated,
                    "seconds": round(report.took_s, 3),
                }
            )
        )
    else:
        print(f"computed: {_counted(len(report.done), 'site')}, {_counted(report.days, 'day')}")
        for failed in report.failed:
            print(f"not computed: {failed.site}: {failed.why}")
        if report.left:
            print(f"left as they were: {_counted(report.left, 'site')}")
    if report.interrupted:
        raise click.Abort
    if report.ended_by is not None:
        raise report.ended_by
    if report.failed:
        kind = UnavailableError if all(each.again for each in report.failed) else DataRefusedError
        raise kind(
            f"{_counted(len(report.failed), 'site')} could not be computed",
            where=failed_sentence(report.failed),
            expected="readings that every method can take, and a database that answers",
            next_step="look at the log of whoever computed them; the others are done",
        )


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
