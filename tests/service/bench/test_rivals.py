import sys
from pathlib import Path

import numpy as np
import pytest

from joulebook.bench.questions import ALL_DEVICES, Reader, require_same
from joulebook.bench.rivals import rivals_in
from joulebook.bench.site import START_MS, Plan, day_span, pieces
from joulebook.bench.truth import Truth
from joulebook.core.spans import Span

EXTRAS = ("duckdb", "pandas", "polars", "pyarrow")


def test_who_is_absent_is_skipped_with_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in EXTRAS:
        monkeypatch.setitem(sys.modules, module, None)
    rivals = rivals_in(tmp_path)
    assert [each.name for each in rivals.writers] == ["SQLite rows"]
    assert [each.name for each in rivals.readers] == ["SQLite rows"]
    assert [line.partition(":")[0] for line in rivals.skipped] == ["DuckDB", "Parquet"]
    assert "duckdb is not installed (pip install 'joulebook[bench]')" in rivals.skipped[0]
    rivals.close()


def test_files_that_nobody_reads_are_still_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("pyarrow")
    for module in ("pandas", "polars"):
        monkeypatch.setitem(sys.modules, module, None)
    rivals = rivals_in(tmp_path)
    assert "Parquet" in [each.name for each in rivals.writers]
    assert [line.partition(":")[0] for line in rivals.skipped] == [
        "Parquet, pandas",
        "Parquet, polars",
    ]
    rivals.close()


def test_everybody_gives_the_right_answers_also_over_several_weeks(tmp_path: Path) -> None:
    for module in EXTRAS:
        pytest.importorskip(module)
    plan = Plan(days=9)
    quarters_span = Span(START_MS + 5 * 86_400_000, plan.span.end_ms)
    truth = Truth([day_span(7)], quarters_span)
    rivals = rivals_in(tmp_path)
    for piece in pieces(plan):
        truth.keep(piece)
        for writer in rivals.writers:
            writer.write(piece)
    for writer in rivals.writers:
        writer.finish()
        assert writer.size_bytes() > 0.5 * truth.readings
    assert len(rivals.readers) == 4
    for reader in rivals.readers:
        _check(reader, truth, plan, quarters_span)
    assert rivals.duckdb is not None
    rivals.duckdb.keep_quarters()
    require_same(
        "quarters", "a", rivals.duckdb.kept_quarters(quarters_span), truth.quarters(weighted=False)
    )
    assert rivals.duckdb.threads >= 1
    assert rivals.rows is not None
    assert rivals.rows.count() == truth.readings
    rivals.close()


def _check(reader: Reader, truth: Truth, plan: Plan, quarters_span: Span) -> None:
    day = day_span(7)
    require_same("day", reader.name, reader.day(day, ALL_DEVICES), truth.day(day, ALL_DEVICES))
    quarters = truth.quarters(weighted=False)
    require_same("quarters", reader.name, reader.quarters(quarters_span), quarters)
    require_same("energy", reader.name, reader.energy(plan.span), truth.energy())
    require_same("last", reader.name, reader.last(), truth.last())
    assert np.isfinite(reader.energy(plan.span)["charge_wh"]).all()
