"""What joulebook alone does: weeks merged, results anew, the whole file, a service's memory."""

from datetime import UTC, datetime
from pathlib import Path

from joulebook.bench.memory import peak_mb
from joulebook.bench.ours import Joulebook
from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import SIX
from joulebook.bench.report import OURS, Row
from joulebook.bench.rounds import Spread, by_turns
from joulebook.bench.site import SITE, Plan
from joulebook.storage.backup import back_up

_TEN_YEARS_DAYS = 3652
_CHART_DAYS = 365
#: Of a chart on a wide screen. [px]
_WIDTH = 1200


def merged_row(ours: Joulebook, readings: int) -> Row:
    """Make weeks of the blocks of days: the form in which old readings lie."""
    took_s = by_turns({OURS: lambda _: ours.merge_weeks()}, 1)[OURS]
    return Row(
        key="merge",
        title="merge blocks of days into blocks of weeks",
        unit="readings/s",
        better="more",
        results={OURS: Spread.of([readings / took_s[0]])},
    )


def anew_rows(ours: Joulebook, days: int, rounds: int) -> list[Row]:
    """Throw away what is derived and compute it again from the readings."""
    took_s = by_turns(
        {"quarters": lambda _: ours.quarters_anew(), "days": lambda _: ours.results_anew()}, rounds
    )
    ten_years = [each * _TEN_YEARS_DAYS / days for each in took_s["days"]]
    return [
        _row("quarters_anew", f"quarter hours anew, {days} days of all series", took_s["quarters"]),
        _row("recompute", f"all results anew, {days} days", took_s["days"]),
        _row(
            "recompute_ten_years",
            f"the same, as ten years would take (scaled from {days} days)",
            ten_years,
        ),
    ]


def _row(key: str, title: str, took_s: list[float]) -> Row:
    return Row(key=key, title=title, unit="s", better="less", results={OURS: Spread.of(took_s)})


def file_row(data_dir: Path, copy: Path, readings: int) -> Row:
    """Return what a reading takes in a backup: quarter hours, results and catalogue included."""
    back_up(data_dir, copy, result_fault=lambda _method, _result: None)
    size = copy.stat().st_size
    copy.unlink()
    return Row(
        key="bytes_file",
        title="the whole file by week, with quarter hours, results and catalogue, as a backup",
        unit="B/reading",
        better="less",
        results={OURS: Spread.of([size / readings])},
    )


def memory_rows(data_dir: Path, plan: Plan) -> list[Row]:
    """Return the service's peak while charts of a year, or of all days, are drawn.

    A service is started for each row, for a peak does not go down again.
    """
    charted = min(plan.days, _CHART_DAYS)
    first, last = (
        datetime.fromtimestamp((plan.span.end_ms - days * DAY_MS) / 1000, UTC).date()
        for days in (charted, 1)
    )
    span = f"from={first}&to={last}&width={_WIDTH}"
    charts = [
        f"/api/v1/sites/{SITE}/readings?device=battery&quantity={quantity}&{span}"
        for quantity in SIX
    ]
    data = f"service's greatest memory, {plan.days} days of data"
    return [
        _memory_row("memory", f"{data}, six charts of {charted}", peak_mb(data_dir, charts)),
        _memory_row(
            "memory_months",
            f"{data}, the page of all months",
            peak_mb(data_dir, [f"/sites/{SITE}/months"]),
        ),
    ]


def _memory_row(key: str, title: str, peak: float | str) -> Row:
    return Row(
        key=key,
        title=title,
        unit="MB",
        better="less",
        results={} if isinstance(peak, str) else {OURS: Spread.of([peak])},
        missing=peak if isinstance(peak, str) else None,
    )
