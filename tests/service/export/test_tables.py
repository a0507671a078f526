from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.export.tables import MOST_ROWS, TablePart, header_of, table_parts
from joulebook.storage.database import Connection
from joulebook.storage.records import Column, DamagedBlock, Series, Site, Value
from joulebook.storage.series import series_of
from tests.helpers.databases import NOON_MS, studio, write

DAY_MS = 86_400_000


def parts_of(connection: Connection, series: Sequence[Series], span: Span) -> list[TablePart]:
    lacking: list[DamagedBlock] = []
    parts = list(table_parts(connection, series, span, lacking=lacking.append))
    assert lacking == []
    return parts


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Connection, Site]]:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        yield connection, site


def test_devices_stand_side_by_side_on_one_time_axis(home: tuple[Connection, Site]) -> None:
    connection, site = home
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}, NOON_MS + 2: {"power": 3.0}})
    write(connection, site, "pv", {NOON_MS + 1: {"power": 2.0}, NOON_MS + 2: {"power": 4.0}})
    [part] = parts_of(connection, series_of(connection, site.id), Span(0, NOON_MS + 3))
    assert part.at_ms.tolist() == [NOON_MS, NOON_MS + 1, NOON_MS + 2]
    np.testing.assert_array_equal(part.columns, [[1.0, np.nan, 3.0], [np.nan, 2.0, 4.0]])
    assert part.readings == 4


def test_years_come_in_parts_that_follow_each_other(home: tuple[Connection, Site]) -> None:
    connection, site = home
    rows = {NOON_MS + at * 400 * DAY_MS: {"power": float(at)} for at in range(3)}
    dense = {NOON_MS + 5 + at: {"power": 7.0} for at in range(2 * MOST_ROWS)}
    write(connection, site, "battery", rows | dense)
    span = Span(NOON_MS, NOON_MS + 800 * DAY_MS + 1)
    parts = parts_of(connection, series_of(connection, site.id), span)
    assert [len(part.at_ms) for part in parts] == [MOST_ROWS, MOST_ROWS, 1, 1, 1]
    assert np.concatenate([part.at_ms for part in parts]).tolist() == sorted(rows | dense)


def test_the_span_is_half_open_and_need_not_hold_anything(home: tuple[Connection, Site]) -> None:
    connection, site = home
    write(connection, site, "battery", {NOON_MS + at: {"power": float(at)} for at in range(4)})
    series = series_of(connection, site.id)
    [part] = parts_of(connection, series, Span(NOON_MS + 1, NOON_MS + 3))
    assert part.at_ms.tolist() == [NOON_MS + 1, NOON_MS + 2]
    assert parts_of(connection, series, Span(NOON_MS, NOON_MS)) == []
    assert parts_of(connection, series, Span(0, DAY_MS)) == []


def test_rows_that_hold_only_other_series_are_left_out(home: tuple[Connection, Site]) -> None:
    connection, site = home
    rows: dict[int, dict[str, Value]] = {
        NOON_MS: {"power": 1.0},
        NOON_MS + 1: {"mode": "float"},
        NOON_MS + 2: {"soc": 0.5},
    }
    columns = [Column("power", "W"), Column("mode", "", "text"), Column("soc", "/")]
    write(connection, site, "battery", rows, columns)
    [power, _, _] = series_of(connection, site.id)
    [part] = parts_of(connection, [power], Span(NOON_MS, NOON_MS + 3))
    assert part.at_ms.tolist() == [NOON_MS]
    [whole] = parts_of(connection, series_of(connection, site.id), Span(NOON_MS, NOON_MS + 3))
    assert [column.tolist()[1] for column in whole.columns[1:2]] == ["float"]
    assert whole.readings == 3


def test_a_header_names_series_and_unit() -> None:
    assert header_of(Series(1, 1, 1, "battery-2", "soc", "/", "number", 0)) == "battery-2.soc [/]"
    assert header_of(Series(1, 1, 1, "meter", "a.b:c", "", "number", 0)) == "meter.a.b:c"
    assert header_of(Series(1, 1, 1, "pv", "on", "", "flag", 0)) == "pv.on [flag]"
