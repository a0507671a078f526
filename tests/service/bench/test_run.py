import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.bench.ours import Joulebook
from joulebook.bench.questions import Answer
from joulebook.bench.run import full
from joulebook.cli import main

EVERYBODY = {"joulebook", "SQLite rows", "DuckDB", "Parquet, pandas", "Parquet, polars"}


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    """The document of a quick run with everybody."""
    for module in ("duckdb", "pandas", "polars", "pyarrow"):
        pytest.importorskip(module)
    with pytest.MonkeyPatch.context() as patch:
        printed: list[str] = []
        patch.setattr("builtins.print", lambda text: printed.append(text))
        assert main(["bench", "--quick", "--json"]) == 0
    document: dict[str, Any] = json.loads(printed[0])
    return document


def test_every_row_has_positive_figures_or_a_reason(told: dict[str, Any]) -> None:
    rows = {row["key"]: row for row in told["rows"]}
    assert set(rows) == {
        *("bytes_day", "bytes_week", "bytes_jitter_day", "bytes_file"),
        *("ingest", "load", "seal", "merge"),
        *("day_one_device", "day_all_devices", "quarters", "energy", "last"),
        *("quarters_anew", "recompute", "recompute_ten_years", "memory", "memory_months"),
    }
    for row in rows.values():
        assert row["results"], row["reason"]
        for spread in row["results"].values():
            assert 0 < spread["low"] <= spread["median"] <= spread["high"]
            assert spread["samples"] >= 1


def test_every_question_was_put_to_everybody(told: dict[str, Any]) -> None:
    rows = {row["key"]: row for row in told["rows"]}
    for key in ("day_one_device", "day_all_devices", "last"):
        assert set(rows[key]["results"]) == EVERYBODY
        ratio = rows[key]["results"]["SQLite rows"]["times_better_than_baseline"]
        assert ratio == 1
    assert set(rows["quarters"]["results"]) == EVERYBODY | {"DuckDB, own quarter hours"}
    assert set(rows["energy"]["results"]) == EVERYBODY | {"DuckDB, as rows lie"}
    assert told["skipped"] == []


def test_conditions_stand_beside_the_figures(told: dict[str, Any]) -> None:
    assert told["conditions"]["quick"] is True
    assert told["conditions"]["series"] == 20
    assert told["conditions"]["duckdb_threads"] >= 1
    assert {"load_before", "load_after", "others_ratio", "quiet"} <= told["machine"].keys()


def test_blocks_are_small_compared_with_rows(told: dict[str, Any]) -> None:
    # 20 bytes a narrow row is SQLite's record format: header, three values and the cell's head.
    rows = {row["key"]: row["results"] for row in told["rows"]}
    assert rows["bytes_day"]["SQLite rows"]["median"] > 15
    assert rows["bytes_day"]["joulebook"]["median"] < 0.35
    assert rows["bytes_week"]["joulebook"]["median"] <= rows["bytes_day"]["joulebook"]["median"]


def test_a_run_without_the_extra_says_who_was_skipped(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for module in ("duckdb", "pandas", "polars", "pyarrow"):
        monkeypatch.setitem(sys.modules, module, None)
    monkeypatch.setattr("joulebook.bench.upkeep.peak_mb", lambda *_: "not asked here")
    assert main(["bench", "--quick", "--in", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "DuckDB: not measured, for duckdb is not installed" in out
    assert "not measured: not asked here" in out
    assert "a quick run shows that everything works; its figures mean nothing" in out
    assert list(tmp_path.iterdir()) == []


def test_joulebook_can_be_measured_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("joulebook.bench.upkeep.peak_mb", lambda *_: "not asked here")
    assert main(["bench", "--quick", "--alone", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    rows = {row["key"]: row for row in told["rows"]}
    assert set(rows["energy"]["results"]) == {"joulebook"}
    assert rows["energy"]["results"]["joulebook"]["times_better_than_baseline"] is None
    assert rows["bytes_day"]["results"]["joulebook"]["median"] < 0.35
    assert told["skipped"] == ["rivals: not measured, left out as asked"]


def test_a_wrong_answer_of_ours_ends_the_run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    right = Joulebook.last

    def wrong(ours: Joulebook) -> Answer:
        answer = right(ours)
        return answer | {"value": np.nextafter(answer["value"], np.inf) + 1e-6}

    monkeypatch.setattr(Joulebook, "last", wrong)
    assert main(["bench", "--quick"]) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "joulebook gave a wrong answer: value[0] is" in captured.err


def test_longer_runs_have_fewer_rounds_of_what_takes_seconds() -> None:
    assert full(30).asking.slow > full(365).asking.slow >= 3
    assert full(30).anew_rounds > full(365).anew_rounds >= 1
