"""What a run found, as one document: every figure with its spread, ratios to a named baseline."""

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from joulebook.bench.quiet import Quietness
from joulebook.bench.rounds import Spread

OURS = "joulebook"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One thing that was measured, of everybody who can do it.

    Attributes
    ----------
    key, title : str
        For programs, and for people.
    unit : str
        Of all figures of the row.
    better : {"less", "more"}
        Which way is up.
    results : dict of Spread
        By name; empty where ``missing`` says why nothing was measured.
    baseline : str or None
        Whom the ratios compare with; ``None`` where nobody else does such a thing.
    """

    key: str
    title: str
    unit: str
    better: Literal["less", "more"]
    results: dict[str, Spread]
    baseline: str | None = None
    missing: str | None = None

    def times_better(self, name: str, than: str) -> float | None:
        """Return how many times better one was than another, by their medians."""
        if name not in self.results or than not in self.results:
            return None
        one, other = self.results[name].median, self.results[than].median
        return other / one if self.better == "less" else one / other


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole run."""

    conditions: dict[str, Any]
    quietness: Quietness
    rows: list[Row]
    skipped: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Bar:
    """What a row should reach: a figure of ours, or so many times better than somebody."""

    key: str
    wanted: float
    than: str | None = None
    name: str = OURS

    def measured(self, row: Row) -> float | None:
        """Return what is held against it."""
        if self.than is not None:
            return row.times_better(self.name, self.than)
        spread = row.results.get(self.name)
        return spread.median if spread else None

    def holds(self, row: Row) -> bool | None:
        """Return whether the row reaches it; ``None`` where it was not measured."""
        measured = self.measured(row)
        if measured is None:
            return None
        if self.than is None and row.better == "less":
            return measured <= self.wanted
        return measured >= self.wanted


#: What joulebook sets out to reach on two quiet cores; ``docs/benchmark.md`` says why.
BARS = (
    Bar("bytes_day", 0.30),
    Bar("bytes_week", 0.27),
    Bar("bytes_jitter_day", 0.6),
    Bar("load", 20e6, name="joulebook, blocks alone"),
    Bar("day_one_device", 3, "DuckDB"),
    Bar("day_one_device", 15, "SQLite rows"),
    Bar("energy", 7, "DuckDB"),
    Bar("energy", 100, "SQLite rows"),
    Bar("quarters", 1, "DuckDB"),
    Bar("last", 0.1),
    Bar("recompute_ten_years", 20),
    Bar("memory", 150),
)


def document(report: Report) -> dict[str, Any]:
    """Return the report as JSON can hold it."""
    rows = {row.key: row for row in report.rows}
    return {
        "conditions": report.conditions,
        "machine": {**asdict(report.quietness), "quiet": report.quietness.quiet},
        "rows": [_row(row) for row in report.rows],
        "bars": [
            {
                "key": bar.key,
                "name": bar.name,
                "than": bar.than,
                "wanted": bar.wanted,
                "measured": bar.measured(rows[bar.key]),
                "holds": bar.holds(rows[bar.key]),
            }
            for bar in BARS
        ],
        "skipped": report.skipped,
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "key": row.key,
        "title": row.title,
        "unit": row.unit,
        "better": row.better,
        "baseline": row.baseline,
        "results": {
            name: {
                **asdict(spread),
                "times_better_than_baseline": (
                    row.times_better(name, row.baseline) if row.baseline else None
                ),
            }
            for name, spread in row.results.items()
        },
        "reason": row.missing,
    }
