"""A whole run of the benchmark, from an empty folder to the report."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from joulebook.bench.asking import Rounds, chosen_days, question_rows
from joulebook.bench.conditions import conditions
from joulebook.bench.filling import ROWS, Filled, bytes_row, fill, load_rows
from joulebook.bench.messages import FIRST, ingest, payloads
from joulebook.bench.plant import DAY_MS
from joulebook.bench.quiet import Watch
from joulebook.bench.report import OURS, Report, Row
from joulebook.bench.rounds import Spread
from joulebook.bench.site import PIECE_DAYS, Plan, first_rows, pieces, readings_in
from joulebook.bench.truth import Truth
from joulebook.bench.upkeep import anew_rows, file_row, memory_rows, merged_row
from joulebook.core.spans import Span

JITTER_MS = 20.0
_QUARTERS_DAYS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much of everything: days, instants whose messages are sent, and rounds.

    A quick run only shows that everything works; alone, nobody else keeps the readings.
    """

    days: int
    instants: int
    is_quick: bool
    alone: bool
    asking: Rounds
    ingest_rounds: int
    anew_rounds: int


def full(days: int, *, alone: bool = False) -> Size:
    """Return the size of a run that means something."""
    short = days <= 60
    return Size(
        days=days,
        instants=5000,
        is_quick=False,
        alone=alone,
        asking=Rounds(quick=11, slow=7 if short else 3),
        ingest_rounds=5,
        anew_rounds=3 if short else 1,
    )


def quick(days: int, *, alone: bool = False) -> Size:
    """Return the size of a run that only shows that everything works."""
    asking = Rounds(quick=2, slow=2)
    return Size(
        days=days,
        instants=50,
        is_quick=True,
        alone=alone,
        asking=asking,
        ingest_rounds=2,
        anew_rounds=1,
    )


def run(size: Size, folder: Path, progress: Callable[[int, int], None]) -> Report:
    """Measure everything in an empty folder.

    Parameters
    ----------
    progress : callable
        Told how many steps are done, of how many.

    Raises
    ------
    WrongAnswerError
        If anybody, joulebook or a rival, answers wrongly.
    """
    watch = Watch()
    plan = Plan(days=size.days)
    span = plan.span
    quarters_span = Span(max(span.start_ms, span.end_ms - _QUARTERS_DAYS * DAY_MS), span.end_ms)
    truth = Truth(chosen_days(plan, size.asking.quick), quarters_span)
    advance = _Steps(progress, -(-size.days // PIECE_DAYS) + 4)
    rows = [_jitter_row(size, folder / "jitter")]
    rows.append(_ingest_row(size, folder / "messages"))
    advance()
    filled = fill(plan, folder / "regular", truth, advance, alone=size.alone)
    try:
        rows = [*_bytes_rows(filled, truth.readings), *rows, *load_rows(filled)]
        rows += anew_rows(filled.ours, size.days, size.anew_rounds)
        advance()
        rows += question_rows(plan, filled, truth, quarters_span, size.asking)
        advance()
        data_dir = folder / "regular" / OURS
        rows.append(file_row(data_dir, folder / "copy.sqlite3", truth.readings))
        rows += memory_rows(data_dir, plan)
        advance()
        duckdb = filled.rivals.duckdb
        return Report(
            conditions={
                **conditions(size.days, truth.readings),
                "duckdb_threads": duckdb.threads if duckdb else None,
                "quick": size.is_quick,
            },
            quietness=watch.end(),
            rows=rows,
            skipped=filled.rivals.skipped,
        )
    finally:
        filled.close()


class _Steps:
    """Counts steps and tells the progress."""

    def __init__(self, progress: Callable[[int, int], None], total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0

    def __call__(self) -> None:
        self._done += 1
        self._progress(self._done, self._total)


def _bytes_rows(filled: Filled, readings: int) -> list[Row]:
    by_day = bytes_row(
        "bytes_day",
        "size, regular clock, ours sealed by day",
        filled,
        readings,
        filled.day_bytes,
    )
    merging = merged_row(filled.ours, readings)
    week_bytes = filled.ours.block_bytes()
    title = "size, regular clock, ours sealed by week"
    by_week = bytes_row("bytes_week", title, filled, readings, week_bytes)
    return [by_day, by_week, merging]


def _jitter_row(size: Size, folder: Path) -> Row:
    days = min(size.days, PIECE_DAYS)
    plan = Plan(days=days, jitter_ms=JITTER_MS)
    truth = Truth([], plan.span)
    filled = fill(plan, folder, truth, lambda: None, alone=size.alone)
    try:
        return bytes_row(
            "bytes_jitter_day",
            f"size, instants shaken by {JITTER_MS:g} ms, ours sealed by day, {days} days",
            filled,
            truth.readings,
            filled.day_bytes,
        )
    finally:
        filled.close()


def _ingest_row(size: Size, folder: Path) -> Row:
    """Send messages of the first hours, one for each device and instant."""
    plan = Plan(days=1)
    [piece] = pieces(plan)
    cut = [first_rows(columns, size.instants) for columns in piece]
    sent, readings = payloads(cut), readings_in(cut)
    took_s = ingest(folder, sent, readings, plan.span.end_ms, size.ingest_rounds)
    timed = readings * (1 - FIRST / len(sent))
    return Row(
        key="ingest",
        title=f"ingest of {len(sent) - FIRST} messages (SenML) to committed storage",
        unit="readings/s",
        better="more",
        results={
            name: Spread.of([timed / each for each in times]) for name, times in took_s.items()
        },
        baseline=ROWS,
    )
