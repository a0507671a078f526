"""The report as lines for a person."""

from collections.abc import Iterator, Mapping
from typing import Any

from joulebook.bench.quiet import Quietness
from joulebook.bench.report import BARS, OURS, Bar, Report, Row
from joulebook.bench.rounds import Spread


def lines(report: Report) -> Iterator[str]:
    """Yield the lines of a report, each row with everybody who was asked."""
    yield from head_lines(report.conditions, report.quietness)
    for row in report.rows:
        yield ""
        yield from _row_lines(row)
    yield ""
    yield "what joulebook sets out to reach:"
    rows = {row.key: row for row in report.rows}
    for bar in BARS:
        yield f"  {_bar_line(bar, rows[bar.key])}"
    if report.skipped:
        yield ""
        yield from report.skipped


def head_lines(conditions: Mapping[str, Any], quietness: Quietness) -> Iterator[str]:
    """Yield what a run was made under, and whether it was a quick one."""
    for name, value in conditions.items():
        yield f"{name.replace('_', ' ')}: {value}"
    yield f"machine: {quietness.words()}"
    if conditions.get("quick"):
        yield "a quick run shows that everything works; its figures mean nothing"


def _row_lines(row: Row) -> Iterator[str]:
    beside = f"; ratio: times better than {row.baseline}" if row.baseline in row.results else ""
    yield f"{row.title} [{row.unit}]{beside}"
    if row.missing:
        yield f"  not measured: {row.missing}"
    for name, spread in row.results.items():
        ratio = row.times_better(name, row.baseline) if row.baseline else None
        times = "" if ratio is None else f"{figure(ratio):>9} x"
        yield f"  {name:<27}{_spread(spread)}{times}"


def _spread(spread: Spread) -> str:
    if spread.samples == 1:
        return f"{figure(spread.median):>12}{'once':>26}"
    between = f"({figure(spread.low)} to {figure(spread.high)}, n = {spread.samples})"
    return f"{figure(spread.median):>12}{between:>36}"


def _bar_line(bar: Bar, row: Row) -> str:
    if bar.than is None:
        sign = "at most" if row.better == "less" else "at least"
        wanted = f"{sign} {figure(bar.wanted)} {row.unit}"
    else:
        wanted = f"at least {figure(bar.wanted)} times better than {bar.than}"
    what = row.title if bar.name == OURS else f"{row.title} ({bar.name})"
    measured = bar.measured(row)
    if measured is None:
        return f"{what}: {wanted}: not measured"
    verdict = "holds" if bar.holds(row) else "MISSED"
    return f"{what}: {wanted}: {figure(measured)}, {verdict}"


def figure(value: float) -> str:
    """Return a number with three digits that count, and thousands apart."""
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.3g}"
