"""Parquet through pyarrow's own reader."""

import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.errors import UnavailableError
from joulebook.export.parquet_files import GROUP_ROWS, write_parquet
from joulebook.export.tables import TablePart
from joulebook.storage.records import Series
from tests.helpers.databases import NOON_MS

POWER = Series(1, 1, 1, "battery", "power", "W", "number", 0)
RUNNING = Series(2, 1, 1, "battery", "running", "", "flag", 1)
MODE = Series(3, 1, 1, "battery", "mode", "", "text", 2)
HARD = [0.0, -0.0, 0.1 + 0.2, 5e-324, 1.7976931348623157e308, -1e-7]


@pytest.fixture
def read() -> Any:
    """pyarrow's reader of a file; without pyarrow there is nothing to test."""
    return pytest.importorskip("pyarrow.parquet").ParquetFile


def bits(values: list[float]) -> list[bytes]:
    return [struct.pack("<d", value) for value in values]


def test_it_reads_back_bit_for_bit_with_what_is_missing_missing(read: Any, tmp_path: Path) -> None:
    at_ms = NOON_MS + np.arange(7)
    modes = np.array(["", None, "a,b", '"', "\n", "é", "float"], dtype=np.object_)
    part = TablePart(
        at_ms, [np.array([*HARD, np.nan]), np.array([1, 0, np.nan, 1, 0, 1, 1.0]), modes]
    )
    write_parquet(tmp_path / "out.parquet", [POWER, RUNNING, MODE], [part])
    table = read(tmp_path / "out.parquet").read()
    assert table.column_names == [
        "time",
        "battery.power [W]",
        "battery.running [flag]",
        "battery.mode [text]",
    ]
    assert [str(column.type) for column in table.columns] == [
        "timestamp[ms, tz=UTC]",
        "double",
        "bool",
        "string",
    ]
    assert table["time"].cast("int64").to_pylist() == at_ms.tolist()
    numbers = table["battery.power [W]"].to_pylist()
    assert bits(numbers[:6]) == bits(HARD)
    assert numbers[6] is None
    flags = table["battery.running [flag]"].to_pylist()
    assert flags == [True, False, None, True, False, True, True]
    assert table["battery.mode [text]"].to_pylist() == modes.tolist()


def test_parts_are_joined_into_groups(read: Any, tmp_path: Path) -> None:
    def part(number: int) -> TablePart:
        at_ms = NOON_MS + 40_000 * number + np.arange(40_000)
        return TablePart(at_ms, [np.full(40_000, float(number))])

    write_parquet(tmp_path / "out.parquet", [POWER], [part(0), part(1), part(2)])
    file = read(tmp_path / "out.parquet")
    rows = [file.metadata.row_group(group).num_rows for group in range(file.num_row_groups)]
    assert rows == [80_000, 40_000]
    assert rows[0] >= GROUP_ROWS
    assert np.unique(np.diff(file.read()["time"].cast("int64").to_numpy())).tolist() == [1]


def test_a_span_without_readings_is_a_table_without_rows(read: Any, tmp_path: Path) -> None:
    write_parquet(tmp_path / "out.parquet", [POWER], [])
    assert read(tmp_path / "out.parquet").metadata.num_rows == 0


def test_without_pyarrow_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)  # as if it were not there
    with pytest.raises(UnavailableError, match="pyarrow, which is not installed") as caught:
        write_parquet(tmp_path / "out.parquet", [POWER], [])
    assert "pip install 'joulebook[parquet]'" in caught.value.next_step
