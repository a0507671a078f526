from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Value
from joulebook.storage.sealing import seal
from tests.helpers.databases import studio, write

START_MS = round(datetime(2026, 7, 14, tzinfo=UTC).timestamp() * 1000)
COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))


@pytest.fixture
def house(tmp_path: Path) -> str:
    """Three days of readings, one a minute."""
    database, site = studio(tmp_path / "house", "UTC")
    rows: dict[int, dict[str, Value]] = {
        START_MS + at * 60_000: {"power": at / 7, "mode": "float", "running": True}
        for at in range(3 * 1440)
    }
    with closing(database.connect()) as connection:
        write(connection, site, "inverter", rows, COLUMNS)
    database.close()
    return str(tmp_path / "house")


def test_it_says_how_much_went_out(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(tmp_path / "out.csv")
    days = ["--from", "2026-07-15", "--to", "2026-07-15"]
    assert main(["export", file, "--site", "studio", *days, "--data", house]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "1440 rows: 4320 readings of 3 series",
    ]
    assert main(["import", file, "--site", "studio", "--data", house]) == 0
    assert "0 readings new, 4320 repeated, 0 replaced, 0 quarantined" in capsys.readouterr().out


def test_a_name_in_parquet_gives_parquet(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("pyarrow")
    file = tmp_path / "out.parquet"
    assert main(["export", str(file), "--site", "studio", "--data", house]) == 0
    assert "4320 rows: 12960 readings of 3 series" in capsys.readouterr().out
    assert file.read_bytes().startswith(b"PAR1")


def test_a_damaged_block_is_named_with_status_4_and_the_rest_is_there(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database = Database.open(Path(house))
    with closing(database.connect()) as connection:
        seal(connection, START_MS + 10 * 86_400_000)
        connection.execute("UPDATE blocks SET data = x'00' WHERE start_ms = ?", (START_MS,))
    database.close()
    file = tmp_path / "out.csv"
    assert main(["export", str(file), "--site", "studio", "--data", house]) == 4
    seen = capsys.readouterr()
    assert "2880 rows: 8640 readings of 3 series" in seen.out
    [told] = [line for line in seen.out.splitlines() if "block" in line]
    assert "of studio/inverter, 2026-07-14 (UTC), is damaged" in told
    assert "the file is there, without the readings of 1 damaged blocks" in seen.err
    assert len(file.read_text(encoding="utf-8").splitlines()) == 2881
