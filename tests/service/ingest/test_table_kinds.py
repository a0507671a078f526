"""Flags and texts in CSV files: which cells are read, and what becomes of the others."""

import re
import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from joulebook.errors import UsageError
from joulebook.ingest.bulk import BulkImport, DeviceColumns, ImportCounts
from joulebook.ingest.cells import flags_of, texts_of
from joulebook.ingest.tables import import_csv
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantined
from joulebook.storage.records import Column, Refused, Site
from tests.helpers.databases import studio, write
from tests.helpers.packs import NOW_MS
from tests.helpers.same_readings import held

PAGE = (Path(__file__).parents[3] / "docs" / "wire-format.md").read_text(encoding="utf-8")
HEADER = "time,kiln.lid [flag],kiln.mode [text],kiln.heat [W]\n"
NOW = NOW_MS // 1000
YES, NO = struct.pack("<d", 1.0), struct.pack("<d", 0.0)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path / "data")
    yield database, site
    database.close()


def run(home: tuple[Database, Site], text: str | bytes) -> ImportCounts:
    path = home[0].data_dir.parent / "week.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return import_csv(*home, path, clock_ms=lambda: NOW_MS)


def refused(home: tuple[Database, Site]) -> list[Refused]:
    with closing(home[0].connect()) as connection:
        return [one.refused for one in quarantined(connection, home[1].id)]


def test_flags_and_texts_are_stored_as_messages_store_them(home: tuple[Database, Site]) -> None:
    text = f'{HEADER}{NOW},true,"low, ""slow""",1\n{NOW - 1}, FALSE ,\\,\n{NOW - 2},,,\n'
    assert run(home, text) == ImportCounts(rows=3, new=5)
    assert held(home) == {
        ("kiln", "lid", "", "flag"): [(NOW_MS - 1000, NO), (NOW_MS, YES)],
        ("kiln", "mode", "", "text"): [(NOW_MS - 1000, ""), (NOW_MS, 'low, "slow"')],
        ("kiln", "heat", "W", "number"): [(NOW_MS, struct.pack("<d", 1.0))],
    }
    with closing(home[0].connect()) as connection:
        row = connection.execute("SELECT typeof(v0), typeof(v1), typeof(v2) FROM readings")
        assert ("integer", "text", "real") in row.fetchall()


@pytest.mark.parametrize("cell", ["yes", "1", "0", "wahr", "tru e"])
def test_a_flag_that_is_neither_is_set_aside_with_its_line(
    home: tuple[Database, Site], cell: str
) -> None:
    assert run(home, f"{HEADER}{NOW},{cell},on,1\n") == ImportCounts(rows=1, new=2, quarantined=1)
    [one] = refused(home)
    assert one.reason == "cell-unreadable"
    assert one.detail == f"line 2 has '{cell}' for kiln.lid [flag]; expected true or false"
    assert one.payload.decode().splitlines() == ["time,kiln.lid [flag]", f"{NOW},{cell}"]


def test_a_text_that_is_no_utf_8_is_set_aside_as_it_came(home: tuple[Database, Site]) -> None:
    line = f"{NOW},true,Ladeschlu\xdf,1\n".encode("latin-1")
    assert run(home, HEADER.encode() + line) == ImportCounts(rows=1, new=2, quarantined=1)
    [one] = refused(home)
    assert one.detail.endswith("for kiln.mode [text]; expected text in UTF-8")
    assert one.payload.endswith(b"Ladeschlu\xdf\r\n")


def test_a_row_out_of_time_is_kept_as_a_file_that_imports(home: tuple[Database, Site]) -> None:
    old = f'{HEADER}1000,true,"a, ""b""\n",5\n1001,,\\,\n1002,,,\n'
    assert run(home, old) == ImportCounts(rows=3, quarantined=4)
    [one] = refused(home)
    assert one.reason == "time-too-old"
    assert one.payload.decode() == (
        "time,kiln.lid [flag],kiln.mode [text],kiln.heat [W]\r\n"
        '1970-01-01T00:16:40.000Z,true,"a, ""b""\n",5.0\r\n'
        "1970-01-01T00:16:41.000Z,,\\,\r\n"
    )


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ("flag", "is a flag; expected a text"),
        ("V", "is a number; expected a text"),
    ],
)
def test_a_column_of_another_kind_than_the_stored_series_stops_the_import(
    home: tuple[Database, Site], mark: str, said: str
) -> None:
    with closing(home[0].connect()) as connection:
        rows = {NOW_MS: {"mode": "low"}}
        write(connection, home[1], "kiln", rows, [Column("mode", "", "text")])
    before = held(home)
    with pytest.raises(UsageError) as error:
        run(home, f"time,kiln.mode [{mark}],kiln.heat [W]\n{NOW},true,1\n")
    assert said in error.value.what
    assert error.value.where == "week.csv, line 1"
    assert held(home) == before
    assert refused(home) == []


def test_a_text_is_as_long_as_a_message_can_be(home: tuple[Database, Site]) -> None:
    text = f"{HEADER}{NOW},,{'a' * 256 * 1024},\n{NOW - 1},,{'a' * (256 * 1024 + 1)},\n"
    assert run(home, text) == ImportCounts(rows=2, new=1, quarantined=1)
    [one] = refused(home)
    assert one.detail.startswith("line 3 is wrongly quoted (field larger than field limit")


def test_columns_of_texts_and_flags_are_stored_in_order_of_time(
    home: tuple[Database, Site],
) -> None:
    texts = np.array(["b", None, "a"], dtype=np.object_)
    part = DeviceColumns(
        "kiln",
        np.array([NOW_MS, NOW_MS - 1, NOW_MS - 2]),
        {"mode": texts, "lid": np.array([np.nan, np.nan, 1.0])},
        kinds={"mode": "text", "lid": "flag"},
    )
    with BulkImport(*home, source="x", clock_ms=lambda: NOW_MS) as bulk:
        assert bulk.add(part).new == 3
    assert held(home)["kiln", "mode", "", "text"] == [(NOW_MS - 2, "a"), (NOW_MS, "b")]


def test_the_example_of_the_page_is_imported(home: tuple[Database, Site]) -> None:
    [_, example] = re.findall(r"^```csv\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert run(home, example) == ImportCounts(rows=2, new=5)
    stored = held(home)
    assert [text for _, text in stored["inverter", "mode", "", "text"]] == ["absorbing, slow", ""]
    assert [flag for _, flag in stored["inverter", "running", "", "flag"]] == [YES, NO]


def test_no_cells_are_no_flags_and_no_texts() -> None:
    assert [(values.tolist(), bad) for values, bad in (flags_of([]), texts_of([]))] == [
        ([], [])
    ] * 2
