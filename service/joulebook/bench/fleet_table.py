"""A run over fleets as lines for a person."""

from collections.abc import Iterator

from joulebook.bench.fleet_growth import METHOD, Growth
from joulebook.bench.fleet_report import MOST_EXPONENT, FleetReport, Line, lines_of
from joulebook.bench.table import figure, head_lines

_OF_A_HOME = {"s": ("ms", 1000.0), "ms": ("ms", 1.0), "B": ("kB", 0.001)}
_TOTAL = {"s": ("s", 1.0), "ms": ("ms", 1.0), "B": ("MB", 1e-6)}


def fleet_lines(report: FleetReport) -> Iterator[str]:
    """Yield the lines of a report."""
    yield from head_lines(report.conditions, report.quietness)
    sizes = sorted({each.homes for each in report.rounds})
    yield ""
    yield f"all homes together (a page: one request); exponent: {METHOD}"
    heads = "".join(f"{homes:>10,}" for homes in sizes)
    yield f"{'homes':<58}{heads}  {'a home':>12}  {'exponent':<24}last step"
    lines = lines_of(report.rounds)
    for line in lines:
        yield _row(line)
    yield ""
    yield from _home_lines(report)
    yield ""
    late = [line for line in lines if not line.holds]
    verdict = "holds" if not late else "MISSED: " + ", ".join(line.cost.key for line in late)
    yield f"every exponent at most {MOST_EXPONENT}: {verdict}"
    for line in lines:
        if line.last.low > MOST_EXPONENT:
            yield f"from {sizes[-2]:,} to {sizes[-1]:,} homes it grows faster: {line.cost.title}"


def _row(line: Line) -> str:
    unit, factor = _TOTAL[line.cost.unit]
    totals = "".join(f"{figure(total * factor):>10}" for total in line.totals.values())
    small, of_a_home = _OF_A_HOME[line.cost.unit]
    each = f"{figure(line.of_a_home * of_a_home)} {small}"
    title = f"{line.cost.title} [{unit}]"
    return f"{title:<58}{totals}  {each:>12}  {_grown(line.whole):<24}{_grown(line.last)}"


def _grown(growth: Growth) -> str:
    return f"{growth.exponent:.2f} ({growth.low:.2f} to {growth.high:.2f})"


def _home_lines(report: FleetReport) -> Iterator[str]:
    home = report.home
    yield f"one home at the full rate, {home.days} days, {home.readings:,} readings:"
    hot, sealed = figure(home.hot_bytes), figure(home.sealed_bytes)
    yield f"  a reading as it came: {hot} B; sealed with all results: {sealed} B"
    for what, work in (
        ("a day's results and quarter hours", home.day),
        ("to seal a day", home.seal),
        ("the record's analysis, by each of its days", home.record),
    ):
        own, took = figure(work.own_s * 1000), figure(work.took_s * 1000)
        yield f"  {what}: {took} ms, of these {own} ms this process at work"
