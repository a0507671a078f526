from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from joulebook.core.spans import local_day
from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.export.readings import Exported, export_readings
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.small_disks import file_size_limit

COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))
HOUR_MS = 3_600_000


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    """A site far from UTC with an hourly reading for four days, from 10:00 UTC on 28 February."""
    database, site = studio(tmp_path / "home", "Pacific/Apia")
    rows: dict[int, dict[str, Value]] = {
        NOON_MS - 26 * HOUR_MS + at * HOUR_MS: {
            "power": float(at),
            "mode": "float",
            "running": True,
        }
        for at in range(96)
    }
    with closing(database.connect()) as connection:
        write(connection, site, "inverter", rows, COLUMNS)
    yield database, site
    database.close()


def times(file: Path) -> list[str]:
    return [line.split(",")[0] for line in file.read_text(encoding="utf-8").splitlines()[1:]]


def test_all_of_it_is_written(home: tuple[Database, Site], tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    exported = export_readings(
        *home, tmp_path / "all.csv", progress=lambda done, total: told.append((done, total))
    )
    assert (exported.rows, exported.readings, exported.series) == (96, 288, 3)
    assert len(times(tmp_path / "all.csv")) == 96
    assert told[-1] == (95 * 3600, 95 * 3600)


def test_a_name_in_any_case_of_parquet_gives_parquet(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    pytest.importorskip("pyarrow")
    exported = export_readings(*home, tmp_path / "all.Parquet")
    assert (exported.rows, exported.readings, exported.series) == (96, 288, 3)
    assert (tmp_path / "all.Parquet").read_bytes()[:4] == b"PAR1"


def test_days_are_those_of_the_site_both_included(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    # Apia is 13 hours ahead: its second of March is from 11:00 UTC on the first on.
    days = (date(2026, 3, 2), date(2026, 3, 3))
    export_readings(*home, tmp_path / "two.csv", first=days[0], last=days[1])
    found = times(tmp_path / "two.csv")
    assert (found[0], found[-1]) == ("2026-03-01T11:00:00.000Z", "2026-03-03T10:00:00.000Z")
    assert local_day(days[0], home[1].zone).start_ms == NOON_MS - HOUR_MS
    export_readings(*home, tmp_path / "from.csv", first=days[0])
    export_readings(*home, tmp_path / "to.csv", last=days[0])
    assert len(times(tmp_path / "from.csv")) == 96 - 25
    assert len(times(tmp_path / "to.csv")) == 25 + 24


def test_days_without_readings_give_a_header_alone(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    for name, days in (("before", (2020, 2020)), ("after", (2027, 2028))):
        first, last = (date(year, 1, 1) for year in days)
        exported = export_readings(*home, tmp_path / name, first=first, last=last)
        assert exported == Exported(0, 0, 3)
        assert (tmp_path / name).read_text(encoding="utf-8") == (
            "time,inverter.power [W],inverter.mode [text],inverter.running [flag]\n"
        )


def test_days_in_the_wrong_order_are_a_usage_error(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    with pytest.raises(UsageError, match="2026-03-02 is after 2026-03-01"):
        export_readings(*home, tmp_path / "out.csv", first=date(2026, 3, 2), last=date(2026, 3, 1))


def test_a_site_without_readings_has_nothing_to_export(tmp_path: Path) -> None:
    database, site = studio(tmp_path / "home")
    with pytest.raises(UsageError, match="nothing to export"):
        export_readings(database, site, tmp_path / "out.csv")
    assert not (tmp_path / "out.csv").exists()


def test_a_file_that_is_there_is_not_overwritten(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    (tmp_path / "out.csv").write_text("kept", encoding="utf-8")
    with pytest.raises(DataRefusedError, match="a file of that name already"):
        export_readings(*home, tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_text(encoding="utf-8") == "kept"


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_a_disk_that_takes_no_more_leaves_nothing_behind(
    home: tuple[Database, Site], tmp_path: Path, name: str
) -> None:
    pytest.importorskip("pyarrow")
    (tmp_path / "new").mkdir()
    with closing(home[0].connect()) as connection:
        dense = {NOON_MS + at: {"power": at / 7} for at in range(40_000)}
        write(connection, home[1], "pv", dense)
    with (
        pytest.raises(UnavailableError, match="nothing of it was left behind"),
        file_size_limit(65_536),  # SQLite's own files beside the database fit in that
    ):
        export_readings(*home, tmp_path / "new" / name)
    assert list((tmp_path / "new").iterdir()) == []


def test_a_damaged_block_is_told_and_costs_only_what_it_held(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    with closing(home[0].connect()) as connection:
        seal(connection, NOON_MS + 10 * 24 * HOUR_MS)
        connection.execute("UPDATE blocks SET data = x'00' WHERE rows = 24 AND id % 2")
        (blocks, rows) = connection.execute(
            "SELECT count(*), sum(rows) FROM blocks WHERE rows = 24 AND id % 2"
        ).fetchone()
    exported = export_readings(*home, tmp_path / "rest.csv")
    assert blocks > 0
    assert len(exported.damaged) == blocks
    assert exported.rows == len(times(tmp_path / "rest.csv")) == 96 - rows
