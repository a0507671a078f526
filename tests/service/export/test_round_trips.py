"""Everything that a site can hold goes out to a file and comes back the same, by real commands."""

from contextlib import closing
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.cli import main
from joulebook.export.readings import export_readings
from joulebook.ingest.parquet_tables import import_parquet
from joulebook.ingest.tables import import_csv
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.same_readings import held, same_readings

COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))
#: What is hard in a table: separators, quotes, line ends, blanks, what looks like something else.
TEXTS = (
    *("", "\\", "\\\\", " ", "\t", "a,b", 'say "no"', '"', '""', "one\ntwo", "\r", "\r\n", "x\r"),
    *("Ladeschluß, 60 %", "満充電", "\U0001f50b", "\ufeff", "\x00", "true", "1.5", "NaN", "null"),
    *("#N/A", "a" * 70_000, "-", "'", "\u2028", "\x85", "[text]", "=1+1", " padded "),
)
NUMBERS = (0.0, -0.0, 5e-324, -5e-324, 2.2250738585072e-308, 1.7976931348623157e308, 1 / 3, -273.15)
ENDINGS = ["csv", "parquet"]
_NUMBERS = count()


def there_and_back(house: Path, ending: str) -> tuple[Database, Site]:
    """Export the studio of a house, import it into an annexe of another, and again."""
    file, other = house.parent / f"out.{ending}", house.parent / f"annexe-{ending}"
    assert main(["export", str(file), "--site", "studio", "--data", str(house)]) == 0
    database = Database.open(other)
    annexe = add_site(database, "annexe", "UTC")
    assert main(["import", str(file), "--site", "annexe", "--data", str(other)]) == 0
    return database, annexe


def opened(house: Path) -> tuple[Database, Site]:
    database = Database.open(house)
    return database, site_named(database, "studio")


@pytest.fixture(params=ENDINGS)
def ending(request: pytest.FixtureRequest) -> str:
    if request.param == "parquet":
        pytest.importorskip("pyarrow")
    return str(request.param)


@pytest.mark.parametrize("sealed", [False, True])
def test_numbers_texts_and_flags_come_back_the_same(
    tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str], *, sealed: bool
) -> None:
    database, site = studio(tmp_path / "house")
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + at: {"mode": text} | ({"running": at % 3 == 0} if at % 2 else {})
        for at, text in enumerate(TEXTS)
    }
    for at, number in enumerate(NUMBERS):
        rows.setdefault(NOON_MS + 5 * at, {})["power"] = number
    with closing(database.connect()) as connection:
        write(connection, site, "inverter", rows, COLUMNS)
        write(connection, site, "kiln", {NOON_MS: {"lid": "open"}}, [Column("lid", "", "text")])
        if sealed:
            assert seal(connection, NOON_MS + 10 * 86_400_000).rows == len(rows) + 1
    database.close()
    home = opened(tmp_path / "house")
    other = there_and_back(tmp_path / "house", ending)
    total = len(TEXTS) + len(TEXTS) // 2 + len(NUMBERS) + 1
    assert same_readings(home, other) == total
    said = capsys.readouterr().out.splitlines()
    assert said[0].endswith(f"{total} readings of 4 series")
    assert said[1].endswith(f"{total} readings new, 0 repeated, 0 replaced, 0 quarantined")
    assert len(said) == 2  # nothing is left out
    file = str(tmp_path / f"out.{ending}")
    assert main(["import", file, "--site", "studio", "--data", str(tmp_path / "house")]) == 0
    again = f"0 readings new, {total} repeated, 0 replaced, 0 quarantined\n"
    assert capsys.readouterr().out.endswith(again)


def test_the_ending_is_read_in_any_case(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("pyarrow")
    database, site = studio(tmp_path / "house")
    with closing(database.connect()) as connection:
        write(connection, site, "inverter", {NOON_MS: {"power": 1.0}})
    there_and_back(tmp_path / "house", "PARQUET")
    assert "1 readings new" in capsys.readouterr().out


def test_a_site_of_texts_alone_comes_back(tmp_path: Path, ending: str) -> None:
    database, site = studio(tmp_path / "house")
    with closing(database.connect()) as connection:
        write(connection, site, "kiln", {NOON_MS: {"lid": "open"}}, [Column("lid", "", "text")])
    other = there_and_back(tmp_path / "house", ending)
    assert held(other) == {("kiln", "lid", "", "text"): [(NOON_MS, "open")]}


ROWS = st.lists(
    st.fixed_dictionaries(
        {},
        optional={
            "power": st.floats(allow_nan=False, allow_infinity=False),
            "mode": st.text(max_size=8) | st.text('\\",\r\n \t', max_size=5),
            "running": st.booleans(),
        },
    ).filter(bool),
    min_size=1,
    max_size=12,
)


@pytest.fixture(scope="module")
def one_house(tmp_path_factory: pytest.TempPathFactory) -> Database:
    """A database for many sites: to make a new one takes longer than everything else here."""
    return Database.open(tmp_path_factory.mktemp("any") / "house")


@pytest.mark.parametrize("ending", ENDINGS)
@given(rows=ROWS)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_any_readings_come_back_the_same(
    one_house: Database, ending: str, rows: list[dict[str, Value]]
) -> None:
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    number = next(_NUMBERS)
    site, annexe = (add_site(one_house, f"{name}{number}", "UTC") for name in ("studio", "annexe"))
    with closing(one_house.connect()) as connection:
        write(connection, site, "inverter", dict(enumerate(rows, NOON_MS)), COLUMNS)
    file = one_house.data_dir.parent / f"{number}.{ending}"
    exported = export_readings(one_house, site, file)
    import_file = import_csv if ending == "csv" else import_parquet
    import_file(one_house, annexe, file, clock_ms=lambda: NOON_MS)
    assert same_readings((one_house, site), (one_house, annexe)) == exported.readings
    assert exported.readings == sum(map(len, rows))


def test_a_spreadsheet_reader_sees_what_the_page_says(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    database, site = studio(tmp_path / "house")
    rows: dict[int, dict[str, Value]] = {
        NOON_MS: {"power": 1.5, "mode": "a, b", "running": True},
        NOON_MS + 1: {"mode": 'say "no"'},
        NOON_MS + 2: {"mode": ""},
    }
    with closing(database.connect()) as connection:
        write(connection, site, "inverter", rows, COLUMNS)
    file = tmp_path / "out.csv"
    assert main(["export", str(file), "--site", "studio", "--data", str(tmp_path / "house")]) == 0
    assert file.read_bytes() == (
        b"time,inverter.power [W],inverter.mode [text],inverter.running [flag]\n"
        b'2026-03-01T12:00:00.000Z,1.5,"a, b",true\n'
        b'2026-03-01T12:00:00.001Z,,"say ""no""",\n'
        b"2026-03-01T12:00:00.002Z,,\\,\n"
    )
    table = pandas.read_csv(file)
    assert table["inverter.mode [text]"].tolist() == ["a, b", 'say "no"', "\\"]
    assert table["inverter.running [flag]"].tolist()[:1] == [True]
