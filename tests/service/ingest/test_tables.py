"""CSV files of readings: what is stored, what is set aside with its line, what stops an import."""

import io
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.errors import UsageError
from joulebook.ingest.bulk import ImportCounts
from joulebook.ingest.checks import Expected, Objection
from joulebook.ingest.expectations import Expectations
from joulebook.ingest.tables import Chunk, import_csv, read_csv
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import read_device
from joulebook.storage.records import Refused, Site
from tests.helpers.databases import studio
from tests.helpers.packs import NOW_MS

HEADER = "time,battery.voltage [V],battery.soc [%EL],pv.power [kW]\n"


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path / "data")
    yield database, site
    database.close()


def run(home: tuple[Database, Site], text: str | bytes, name: str = "week.csv") -> ImportCounts:
    path = home[0].data_dir.parent / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return import_csv(*home, path, clock_ms=lambda: NOW_MS)


def stored(home: tuple[Database, Site], device: str) -> dict[str, list[tuple[int, float]]]:
    with closing(home[0].connect()) as connection:
        found = read_device(connection, home[1].id, device, Span(0, 2 * NOW_MS))
    return {
        name: [
            (at_ms, value)
            for at_ms, value in zip(found.at_ms.tolist(), values.tolist(), strict=True)
            if not np.isnan(value)
        ]
        for name, values in found.values.items()
    }


def refused(home: tuple[Database, Site]) -> dict[str, Refused]:
    with closing(home[0].connect()) as connection:
        return {one.refused.reason: one.refused for one in quarantined(connection, home[1].id)}


def test_a_file_is_imported_in_canonical_units_and_again_as_repeats(
    home: tuple[Database, Site],
) -> None:
    text = HEADER + "2026-05-28T20:26:40Z,53.1,61,1.001\n1779999995,53.0,,\n"
    assert run(home, text) == ImportCounts(rows=2, new=4)
    assert run(home, text) == ImportCounts(rows=2, repeated=4)
    assert stored(home, "battery") == {
        "voltage": [(1_779_999_995_000, 53.0), (1_780_000_000_000, 53.1)],
        "soc": [(1_780_000_000_000, 0.61)],
    }
    assert stored(home, "pv") == {"power": [(1_780_000_000_000, 1001.0)]}


def test_a_spreadsheets_habits_are_understood(home: tuple[Database, Site]) -> None:
    # A byte order mark, CRLF, quoted cells, a blank line, no line end at the end.
    text = '\ufefftime,"battery.voltage [V]"\r\n\r\n"1779999995"," 53.0"\r\n1780000000,"53.1"'
    assert run(home, text) == ImportCounts(rows=2, new=2)


def test_a_bad_cell_costs_itself_and_names_its_line(home: tuple[Database, Site]) -> None:
    lines = [
        "1779999990,x,61,0",
        '1779999991,"53,1",61,0',
        *[f"{1779999992 + i},nan,," for i in range(5)],
    ]
    counts = run(home, HEADER + "\n".join(lines))
    assert counts == ImportCounts(rows=7, new=4, quarantined=7)
    one = refused(home)["cell-unreadable"]
    assert one.detail.startswith(
        "lines 2, 3, 4, 5, 6 and 2 more: the first has 'x' for battery.voltage"
    )
    assert one.payload.decode().splitlines()[:3] == [
        "time,battery.voltage [V]",
        "1779999990,x",
        '1779999991,"53,1"',
    ]
    assert (one.source, one.topic) == ("week.csv", "joulebook/v1/studio")


def test_a_bad_time_costs_its_line(home: tuple[Database, Site]) -> None:
    counts = run(home, HEADER + "yesterday,53.1,x,\n,,,\n1780000000,53.1,,\n")
    assert counts == ImportCounts(rows=3, new=1, quarantined=3)
    one = refused(home)["time-unreadable"]
    assert one.detail.startswith("lines 2, 3: the first is dated 'yesterday'; expected RFC 3339")
    assert one.payload.decode().splitlines()[1] == "yesterday,53.1,x,"
    assert refused(home).keys() == {"time-unreadable"}


def test_a_leap_second_is_stored(home: tuple[Database, Site]) -> None:
    # CV-51b: 2016 ended with one (IERS Bulletin C 52; from memory).
    run(home, HEADER + "2016-12-31T23:59:60Z,53.1,,\n")
    assert stored(home, "battery")["voltage"] == [(1_483_228_799_999, 53.1)]


def test_lines_of_another_width_or_wrongly_quoted_cost_themselves(
    home: tuple[Database, Site],
) -> None:
    text = HEADER + '1779999990,1\n1779999991,"1"x,2,3\n1779999992,53.1,,,5\n1780000000,53.1,,\n'
    assert run(home, text) == ImportCounts(rows=4, new=1, quarantined=4)
    one = refused(home)["line-malformed"]
    assert one.detail == "lines 2, 3, 4: the first has 2 cells; expected 4"
    assert one.payload == b'1779999990,1\r\n1779999991,"1"x,2,3\n1779999992,53.1,,,5\r\n'


def test_a_quote_left_open_is_told_with_its_line(home: tuple[Database, Site]) -> None:
    text = HEADER + '1780000000,53.1,,\n1780000001,"53.1,,\n1780000002,53.2,,\n'
    assert run(home, text) == ImportCounts(rows=2, new=1, quarantined=1)
    one = refused(home)["line-malformed"]
    assert one.detail.startswith("line 3 is wrongly quoted")
    assert one.payload == b'1780000001,"53.1,,\n1780000002,53.2,,\n'


def test_lines_are_counted_across_quoted_line_ends(home: tuple[Database, Site]) -> None:
    run(home, HEADER + '1780000000,"5\n3",,\n1780000001,x,,\n')
    assert refused(home)["cell-unreadable"].detail.startswith("lines 2, 4: the first has '5\\n3'")


def test_a_file_of_only_bad_lines_stores_nothing(home: tuple[Database, Site]) -> None:
    assert run(home, HEADER + "1,2\n") == ImportCounts(rows=1, quarantined=1)


def test_bytes_that_are_no_utf_8_cost_their_cell(home: tuple[Database, Site]) -> None:
    counts = run(home, HEADER.encode() + b"1780000000,5\xff3,61,\n")
    assert counts == ImportCounts(rows=1, new=1, quarantined=1)
    assert refused(home)["cell-unreadable"].payload.endswith(b"1780000000,5\xff3\r\n")


def test_the_rules_for_messages_hold_for_files(home: tuple[Database, Site]) -> None:
    rows = "1000,53.1,,\n1780000000,53.1,200,-1\n1780000001,53.1,-5,\n1e308,1,,\n"
    counts = run(home, HEADER + rows)
    assert counts == ImportCounts(rows=4, new=3, quarantined=4)
    assert refused(home).keys() == {
        "time-too-old",
        "ratio-too-large",
        "negative",
        "time-unreadable",
    }


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "the first column is nothing"),
        (b"\n\n", "the first column is nothing"),
        (b"time\n", "no columns of readings"),
        (b'"time', "the first column is nothing"),
        ("time,battery.voltage [V]\n".encode("utf-16"), "the first column is"),
        (b"time,battery.voltage [V],battery.voltage [mV]\n", "comes twice"),
        (b"\x00\x01\x02", "the first column is"),
    ],
)
def test_a_wrong_header_stops_the_import(
    home: tuple[Database, Site], text: bytes, said: str
) -> None:
    with pytest.raises(UsageError) as error:
        run(home, text)
    assert said in error.value.what
    assert "week.csv, line 1" in error.value.where
    assert refused(home) == {}


def test_a_file_that_is_not_there_is_told(home: tuple[Database, Site], tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(UsageError, match="cannot be read"):
            import_csv(*home, path, clock_ms=lambda: NOW_MS)


def test_progress_is_told_in_bytes(home: tuple[Database, Site], tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_text(HEADER + "1780000000,53.1,,\n", encoding="utf-8")
    told: list[tuple[int, int]] = []
    import_csv(*home, path, clock_ms=lambda: NOW_MS, progress=lambda *now: told.append(now))
    assert told == [(path.stat().st_size, path.stat().st_size)]


def expect(device: str, quantity: str, unit: str, kind: ValueKind) -> Expected | Objection:
    return Expectations().of(1, device, quantity, unit, kind)


def chunks(text: str, size: int) -> list[Chunk]:
    return list(read_csv(io.BytesIO(text.encode()), expect=expect, where="", chunk_lines=size))


def cells_of(parts: list[Chunk]) -> list[tuple[str, str, int, float]]:
    """Return the readings in the order of their lines."""
    found = [
        (columns.device, quantity, at_ms, value)
        for part in parts
        for columns in part.devices
        for quantity, values in columns.values.items()
        for at_ms, value in zip(columns.at_ms.tolist(), values.tolist(), strict=True)
        if not np.isnan(value)
    ]
    return sorted(found, key=lambda one: one[:2])


CELLS = st.sampled_from(["", "1", "-2.5", "x", "61", '"3"', '"open'])
TIMES = st.sampled_from(["1780000000", "1779999999.5", "2026-05-28T20:26:40Z", "bad", ""])
LINES = st.tuples(TIMES, st.lists(CELLS, min_size=2, max_size=4)).map(
    lambda line: ",".join([line[0], *line[1]])
)


@given(st.lists(LINES, max_size=12), st.integers(1, 5))
@settings(derandomize=True, deadline=None, max_examples=300)
def test_chunking_makes_no_difference(lines: list[str], size: int) -> None:
    text = HEADER + "\n".join(lines)
    whole, parts = chunks(text, 1000), chunks(text, size)
    assert cells_of(parts) == cells_of(whole)
    assert sum(part.lines for part in parts) == sum(part.lines for part in whole)
    for reason in ("line-malformed", "time-unreadable", "cell-unreadable"):
        counts = [
            sum(one.readings for part in some for one in part.aside if one.reason == reason)
            for some in (whole, parts)
        ]
        assert counts[0] == counts[1]
