"""Parquet in, as pyarrow's own writer and our export make it."""

import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.cli import main
from joulebook.core.spans import Span
from joulebook.errors import UnavailableError, UsageError
from joulebook.export.parquet_files import write_parquet
from joulebook.export.tables import TablePart
from joulebook.ingest.bulk import ImportCounts
from joulebook.ingest.parquet_tables import import_parquet
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.records import Series, Site
from tests.helpers.databases import NOON_MS, studio
from tests.helpers.same_readings import held

POWER = Series(1, 1, 1, "battery", "power", "W", "number", 0)
RUNNING = Series(2, 1, 1, "battery", "running", "", "flag", 1)


@pytest.fixture
def arrow() -> Any:
    """pyarrow; without it there is nothing to test."""
    pytest.importorskip("pyarrow.parquet")
    import pyarrow

    return pyarrow


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path / "house")
    yield database, site
    database.close()


def run(home: tuple[Database, Site], path: Path) -> tuple[ImportCounts, list[str]]:
    return import_parquet(*home, path, clock_ms=lambda: NOON_MS + 10_000_000)


def stored(home: tuple[Database, Site]) -> dict[int, float]:
    database, site = home
    with closing(database.connect()) as connection:
        found = read_device(connection, site.id, "battery", Span(0, 2 * NOON_MS))
    return dict(zip(found.at_ms.tolist(), found.values["power"].tolist(), strict=True))


def written(arrow: Any, path: Path, columns: dict[str, Any]) -> Path:
    import pyarrow.parquet

    pyarrow.parquet.write_table(arrow.table(columns), path)
    return path


def test_what_export_writes_comes_back_bit_for_bit(
    arrow: Any, home: tuple[Database, Site], tmp_path: Path
) -> None:
    assert arrow
    at_ms = NOON_MS + np.arange(4)
    values = np.array([0.1 + 0.2, -0.0, 1e-7, np.nan])
    part = TablePart(at_ms, [values, np.array([1.0, 0.0, 1.0, np.nan])])
    write_parquet(tmp_path / "out.parquet", [POWER, RUNNING], [part])
    counts, left_out = run(home, tmp_path / "out.parquet")
    assert counts == ImportCounts(rows=4, new=6)
    assert left_out == []
    assert list(stored(home).values()) == values[:3].tolist()
    again, _ = run(home, tmp_path / "out.parquet")
    assert again == ImportCounts(rows=4, repeated=6)


def test_texts_and_flags_come_as_other_programs_write_them(
    arrow: Any, home: tuple[Database, Site], tmp_path: Path
) -> None:
    columns = {
        "time": [NOON_MS / 1000, NOON_MS / 1000 + 1],
        "kiln.mode": arrow.array(["", None]).dictionary_encode(),
        "kiln.note [text]": arrow.array(["a,b", "\\"], arrow.large_string()),
        "kiln.lid": [None, False],
        "kiln.raw": arrow.array([b"\x00", b"\x01"]),
    }
    counts, left_out = run(home, written(arrow, tmp_path / "a.parquet", columns))
    assert (counts, left_out) == (ImportCounts(rows=2, new=4), ["kiln.raw"])
    assert held(home) == {
        ("kiln", "mode", "", "text"): [(NOON_MS, "")],
        ("kiln", "note", "", "text"): [(NOON_MS, "a,b"), (NOON_MS + 1000, "\\")],
        ("kiln", "lid", "", "flag"): [(NOON_MS + 1000, bytes(8))],
    }


def test_times_are_seconds_or_stamps_of_any_zone(
    arrow: Any, home: tuple[Database, Site], tmp_path: Path
) -> None:
    noon = datetime.fromtimestamp(NOON_MS / 1000, tz=UTC)
    stamps = arrow.array([noon, None], arrow.timestamp("us", tz="America/Chicago"))
    run(
        home, written(arrow, tmp_path / "a.parquet", {"time": stamps, "battery.power [kW]": [1, 2]})
    )
    seconds = [NOON_MS / 1000 + 0.25]
    run(home, written(arrow, tmp_path / "b.parquet", {"time": seconds, "battery.power [kW]": [3]}))
    assert stored(home) == {NOON_MS: 1000.0, NOON_MS + 250: 3000.0}


@pytest.mark.parametrize(
    ("columns", "what"),
    [
        ({"time": [datetime(2026, 3, 1)], "battery.power [W]": [1]}, "time is of timestamp"),  # noqa: DTZ001
        ({"time": ["noon"], "battery.power [W]": [1]}, "time is of string"),
        ({"at": [1], "battery.power [W]": [1]}, "first column is 'at'"),
        ({"time": [1], "power": [1]}, "is headed 'power'"),
        ({"time": [1], "battery.power [V]": [1]}, "battery.power"),
        ({"time": [1], "battery.power [W]": ["1"]}, "holds texts"),
        ({"time": [1], "battery.power": [True]}, "is a flag; expected a number"),
    ],
)
def test_columns_that_are_wrong_stop_it(
    arrow: Any, home: tuple[Database, Site], tmp_path: Path, columns: dict[str, Any], what: str
) -> None:
    with pytest.raises(UsageError, match=what):
        run(home, written(arrow, tmp_path / "a.parquet", columns))


def test_a_file_that_is_no_parquet_is_named(
    arrow: Any, home: tuple[Database, Site], tmp_path: Path
) -> None:
    assert arrow
    (tmp_path / "a.parquet").write_text("time,battery.power [W]\n")
    with pytest.raises(UsageError, match="cannot be read"):
        run(home, tmp_path / "a.parquet")


def test_without_pyarrow_it_says_how_to_get_it(
    home: tuple[Database, Site], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UnavailableError, match="pyarrow"):
        run(home, tmp_path / "a.parquet")


def test_the_command_takes_both_kinds(
    arrow: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house = str(tmp_path / "house")
    assert main(["site", "add", "studio", "--timezone", "UTC", "--data", house]) == 0
    columns = {
        "time": [1_772_366_400.0],
        "battery.power [W]": [5.0],
        "battery.day": [date(2026, 3, 1)],
    }
    file = written(arrow, tmp_path / "a.parquet", columns)
    capsys.readouterr()
    assert main(["import", str(file), "--site", "studio", "--data", house]) == 0
    assert capsys.readouterr().out == (
        "1 rows: 1 readings new, 0 repeated, 0 replaced, 0 quarantined\n"
        "left out, holding no numbers, flags or texts: battery.day\n"
    )
