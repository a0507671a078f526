from dataclasses import replace

import pytest

from joulebook.bench.quiet import Quietness
from joulebook.bench.report import BARS, Bar, Report, Row, document
from joulebook.bench.rounds import Spread
from joulebook.bench.table import figure, lines

DAY = Row(
    key="day",
    title="one day",
    unit="ms",
    better="less",
    results={"joulebook": Spread.of([1.0, 3.0]), "DuckDB": Spread.of([10.0])},
    baseline="DuckDB",
)
LOAD = Row(
    key="load",
    title="load",
    unit="readings/s",
    better="more",
    results={"joulebook": Spread.of([4e6]), "DuckDB": Spread.of([1e6])},
    baseline="DuckDB",
)
NOTHING = Row(
    key="memory", title="memory", unit="MB", better="less", results={}, missing="no such file"
)


def test_better_is_less_time_and_more_speed() -> None:
    assert DAY.times_better("joulebook", "DuckDB") == 5
    assert LOAD.times_better("joulebook", "DuckDB") == 4
    assert LOAD.times_better("joulebook", "nobody") is None


@pytest.mark.parametrize(
    ("bar", "row", "holds"),
    [
        (Bar("day", 2.0), DAY, True),
        (Bar("day", 1.9), DAY, False),
        (Bar("day", 5, "DuckDB"), DAY, True),
        (Bar("day", 5.1, "DuckDB"), DAY, False),
        (Bar("load", 4e6), LOAD, True),
        (Bar("load", 5e6), LOAD, False),
        (Bar("day", 3, "nobody"), DAY, None),
        (Bar("memory", 150), NOTHING, None),
    ],
)
def test_a_bar_holds_is_missed_or_was_not_measured(bar: Bar, row: Row, holds: bool | None) -> None:
    assert bar.holds(row) is holds


def report() -> Report:
    rows = [
        Row(
            key=key,
            title=f"the {key}",
            unit="ms",
            better="less",
            results={"joulebook": Spread.of([0.2])},
        )
        for key in sorted({bar.key for bar in BARS} - {"memory"})
    ]
    quietness = Quietness(load_before=0, load_after=1, others_ratio=0.0, stolen_ratio=0.0)
    return Report(
        conditions={"days": 3, "quick": False},
        quietness=quietness,
        rows=[*rows, DAY, NOTHING],
        skipped=["polars: not measured"],
    )


def test_the_document_holds_ratios_bars_reasons_and_who_was_skipped() -> None:
    told = document(report())
    rows = {row["key"]: row for row in told["rows"]}
    assert rows["day"]["results"]["joulebook"] == {
        "median": 2.0,
        "low": 1.5,
        "high": 2.5,
        "samples": 2,
        "times_better_than_baseline": 5.0,
    }
    assert rows["last"]["results"]["joulebook"]["times_better_than_baseline"] is None
    assert rows["memory"]["reason"] == "no such file"
    bars = {(bar["key"], bar["than"]): bar["holds"] for bar in told["bars"]}
    assert bars["last", None] is False
    assert bars["bytes_day", None] is True
    assert bars["energy", "DuckDB"] is None
    assert told["machine"]["quiet"] is True
    assert told["skipped"] == ["polars: not measured"]


def test_the_table_says_the_same_in_lines() -> None:
    told = "\n".join(lines(report()))
    assert told.startswith("days: 3\nquick: False\nmachine: load average 0.00 before")
    assert "one day [ms]; ratio: times better than DuckDB\n" in told
    row = next(line for line in told.splitlines() if "n = 2" in line)
    assert row.split() == ["joulebook", "2", "(1.5", "to", "2.5,", "n", "=", "2)", "5", "x"]
    assert "memory [MB]\n  not measured: no such file" in told
    assert "  the last: at most 0.1 ms: 0.2, MISSED" in told
    assert "  the bytes_day: at most 0.3 ms: 0.2, holds" in told
    assert "  the load (joulebook, blocks alone): at most 20,000,000 ms: not measured" in told
    assert "  the energy: at least 7 times better than DuckDB: not measured" in told
    assert told.endswith("\n\npolars: not measured")
    assert not "\n".join(lines(replace(report(), skipped=[]))).endswith("polars: not measured")


@pytest.mark.parametrize(
    ("value", "told"), [(0.28957, "0.29"), (12.3456, "12.3"), (1234567.8, "1,234,568"), (7, "7")]
)
def test_figures_have_three_digits_that_count(value: float, told: str) -> None:
    assert figure(value) == told
