"""The report of the pages as lines for a person."""

from collections.abc import Iterator

from joulebook.bench.pages_browser import Painted
from joulebook.bench.pages_run import PagesBar, PagesReport, pages_bars
from joulebook.bench.table import figure, head_lines


def pages_lines(report: PagesReport) -> Iterator[str]:
    """Yield the lines of a report."""
    yield from head_lines(report.conditions, report.quietness)
    yield ""
    yield f"each asked for {report.requests} times after the first, by turns; ms, and kB as sent"
    yield f"{'':<58}{'first':>8}{'p50':>8}{'p95':>8}{'worked':>8}{'sent':>8}"
    for each in report.times:
        numbers = (each.first_ms, each.p50_ms, each.p95_ms, each.processor_ms)
        cells = "".join(f"{figure(number):>8}" for number in numbers)
        yield f"{each.path[:57]:<58}{cells}{figure(each.sent_bytes / 1000):>8}"
    yield ""
    yield f"the service's greatest memory, all of them visited: {figure(report.memory_mb)} MB"
    yield from _browser_lines(report.browser)
    yield ""
    yield "what the pages set out to reach:"
    for bar in pages_bars(report):
        yield f"  {_bar_line(bar)}"


def _browser_lines(browser: Painted | str) -> Iterator[str]:
    if isinstance(browser, str):
        yield f"in a browser: left out, for {browser}"
        return
    paints = ", ".join(figure(each) for each in sorted(browser.largest_paint_ms))
    yield f"largest paint of first visits to the week page: {paints} ms"
    yield f"numbers painted while no script had come: {_yes(browser.numbers_without_scripts)}"
    yield f"drawing script asked for after the numbers: {_yes(browser.library_after_numbers)}"
    yield (
        f"drawing script: {figure(browser.library_bytes / 1000)} kB the first time, "
        f"{figure(browser.library_again_bytes / 1000)} kB on a second visit"
    )
    yield "points a pixel, by figure:"
    for path, points in browser.points_a_pixel.items():
        yield f"  {path[:57]:<58}{points:>6.2f}"


def _yes(told: bool) -> str:  # noqa: FBT001 - a fact, and no choice of behaviour
    return "yes" if told else "NO"


def _bar_line(bar: PagesBar) -> str:
    wanted = f"{bar.title}: at most {figure(bar.wanted)} {bar.unit}".rstrip()
    if bar.measured is None:
        return f"{wanted}: not measured"
    return f"{wanted}: {figure(bar.measured)}, {'holds' if bar.holds else 'MISSED'}"
