"""``joulebook deep-test``: a guided deep discharge that tells the capacity."""

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from joulebook.cli import noted
from joulebook.cli.local_times import LocalTime, local_time, shown_local
from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    settings_of,
    site_option,
)
from joulebook.core.battery.deep_test import DeepTestResult
from joulebook.core.battery.deep_test_plan import CAUTIONS, EVERY_DAYS, steps_of, target_of
from joulebook.core.battery.deep_test_progress import Progress
from joulebook.errors import UsageError
from joulebook.storage.catalogue import site_named
from joulebook.storage.deep_tests import end_test, plan_test, start_test
from joulebook.summaries.deep_tests import DeepTestReport, deep_test_reports

_at_option = click.option(
    "--at", "moment", type=local_time, help="When, as 2026-07-14 18:30; else now."
)


@click.group("deep-test")
def deep_test() -> None:
    """Plan and follow a deep discharge that tells the capacity. joulebook switches nothing."""


@deep_test.command("plan")
@click.option("--note", default="", help="What else there is to say.")
@site_option
@data_option
def plan(note: str, site_name: str, data_dir: Path) -> None:
    """Plan a test: print what to do, what to be careful with, and what it has to reach.

    For a battery that daily use never draws below 8 %, about every 90 days.

    \b
    Example: joulebook deep-test plan --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        if site.battery_ah is None or site.battery_cells is None:
            raise UsageError(
                "the battery's rated charge and cells in series were not entered",
                where=f"site {site.name}",
                expected="both, to say how low it has to be drawn",
                next_step=f"`joulebook site set {site.name} --battery-ah … --battery-cells …`",
            )
        target = target_of(site.battery_ah, site.battery_cells)
        made = plan_test(connection, site, target, note=note, planned_ms=clock_ms())
        detail = f"number {made.id}"
        noted.note(connection, "plan deep test", site=site.name, detail=detail)
    print(f"planned test {made.id}\n\nBe careful:")
    print("\n".join(f"- {caution}" for caution in CAUTIONS))
    print("\nWhat to do:")
    print("\n".join(f"{number}. {step}" for number, step in enumerate(steps_of(target), start=1)))
    print(
        f"\nWhen you lower the reserve: joulebook deep-test start --site {site.name}\n"
        f"Once it is full again:      joulebook deep-test end --site {site.name}\n"
        f"Again in about {EVERY_DAYS} days."
    )


@deep_test.command("start")
@_at_option
@site_option
@data_option
def start(moment: LocalTime | None, site_name: str, data_dir: Path) -> None:
    """Say that the planned test begins: the battery is full, or will be, and the reserve lowered.

    \b
    Example: joulebook deep-test start --at '2026-07-14 18:30' --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        at_ms = moment.begin_ms(site.zone) if moment else clock_ms()
        begun = start_test(connection, site, started_ms=at_ms)
        detail = f"number {begun.id}, at {shown_local(at_ms, site.zone)}"
        noted.note(connection, "begin deep test", site=site.name, detail=detail)
    print(f"test {begun.id} began {shown_local(at_ms, site.zone)}")


@deep_test.command("end")
@_at_option
@site_option
@data_option
def end(moment: LocalTime | None, site_name: str, data_dir: Path) -> None:
    """Say that the test is over: the reserve is back, and the battery full again.

    \b
    Example: joulebook deep-test end --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        at_ms = moment.end_ms(site.zone) if moment else clock_ms()
        ended = end_test(connection, site, ended_ms=at_ms)
        detail = f"number {ended.id}, at {shown_local(at_ms, site.zone)}"
        noted.note(connection, "end deep test", site=site.name, detail=detail)
    print(f"test {ended.id} ended {shown_local(at_ms, site.zone)}")
    print(f"what came of it: joulebook deep-test show --site {site.name}")


@deep_test.command("show")
@site_option
@json_option
@data_option
def show_tests(site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """Show how far the test under way is, and what came of the others.

    \b
    Example: joulebook deep-test show --site studio --data DIR
    """
    with existing_database(data_dir) as database:
        site = site_named(database, site_name)
        reports = deep_test_reports(
            database, site, now_ms=clock_ms(), max_gap_s=settings_of(data_dir).max_gap_s
        )
    if as_json:
        print(json.dumps({"site": site.name, "tests": [asdict(each) for each in reports]}))
        return
    lines = [line for each in reports for line in _lines(each, site.zone)]
    print("\n".join(lines) or "no test was planned")


def _lines(report: DeepTestReport, zone: ZoneInfo) -> Iterator[str]:
    test = report.test
    dates = [
        f"{what} {shown_local(at_ms, zone)}"
        for what, at_ms in (
            ("planned", test.planned_ms),
            ("began", test.started_ms),
            ("ended", test.ended_ms),
        )
        if at_ms is not None
    ]
    note = [test.note] if test.note else []
    yield f"test {test.id}: " + ", ".join([*dates, *note])
    if report.why_not is not None:
        yield f"  nothing can be told: {report.why_not}"
    if report.progress is not None:
        yield from _progress_lines(report.progress)
    if report.result is not None:
        yield from _result_lines(report.result)


def _progress_lines(progress: Progress) -> Iterator[str]:
    yield f"  {progress.stage}"
    yield "  drawn since full: " + (
        "not known" if progress.drawn_ah is None else f"{progress.drawn_ah:.1f} Ah"
    )
    state = "" if progress.state is None else f", about {progress.state:.0%}"
    yield "  a cell would rest at " + (
        "a voltage that was not read"
        if progress.cell_v is None
        else f"{progress.cell_v:.3f} V{state}"
    )
    yield from (f"  still missing: {missing}" for missing in progress.missing)


def _result_lines(result: DeepTestResult) -> Iterator[str]:
    yield f"  {result.verdict}"
    yield from (f"  because {reason}" for reason in result.reasons)
    capacity = result.capacity
    if capacity.value is not None:
        yield (
            f"  capacity {capacity.value:.1f} Ah, from {capacity.low:.1f} to {capacity.high:.1f} "
            "with 90% probability"
        )
    if result.drawn_ah is not None:
        back = (
            "" if result.returned_ah is None else f", and {result.returned_ah:.1f} Ah back to full"
        )
        yield f"  {result.drawn_ah:.1f} Ah were counted down to {result.x_low:.1%}{back}"
    if result.offset_a is not None:
        yield f"  the current sensor reads {result.offset_a:+.2f} A too much, corrected above"
