"""Values come back from a server as they were sent, in whatever way they go there."""

import math
import struct

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from joulebook.core.spans import Span
from joulebook.storage.connections import ServerConnection
from joulebook.storage.database import Database
from joulebook.storage.reading import latest_readings, read_device, read_series
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from joulebook.storage.series import series_of
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.outside

#: Any number that IEEE 754 binary64 can say; NaN is what is missing, and so never stored.
PATTERNS = st.integers(0, 2**64 - 1).map(lambda bits: struct.unpack("<d", struct.pack("<Q", bits)))
NUMBERS = PATTERNS.map(lambda one: one[0]).filter(lambda number: not math.isnan(number))
EDGES = [-0.0, 0.0, 5e-324, -2.2250738585072014e-308, 1.7976931348623157e308, math.inf, -math.inf]
WHOLE = Span(NOON_MS, NOON_MS + 1_000_000)


def bits(numbers: list[float]) -> bytes:
    return struct.pack(f"<{len(numbers)}d", *numbers)


@settings(
    derandomize=True,
    deadline=None,
    max_examples=15,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(NUMBERS, min_size=1, max_size=20))
def test_a_number_that_is_bound_is_the_same_bit_for_bit(
    link: ServerConnection, numbers: list[float]
) -> None:
    ((found,),) = link.execute("SELECT ?::float8[]", (numbers,)).fetchall()
    assert bits(found) == bits(numbers)
    single = [link.execute("SELECT ?", (number,)).fetchone()[0] for number in numbers]
    assert bits(single) == bits(numbers)


def test_readings_are_the_same_whether_they_come_in_order_late_or_sealed(
    link: ServerConnection, served: tuple[Database, Site]
) -> None:
    site = served[1]
    rows = {NOON_MS + 10 * at: {"power": number} for at, number in enumerate(EDGES)}
    write(link, site, "battery", rows)  # by COPY
    late = {NOON_MS + 10 * at + 5: {"power": number} for at, number in enumerate(EDGES)}
    write(link, site, "battery", late)  # one by one
    expected = bits([number for number in EDGES for _ in range(2)])

    def stored() -> bytes:
        return bits(read_device(link, site.id, "battery", WHOLE).values["power"].tolist())

    assert stored() == expected
    (newest,) = latest_readings(link, site.id)
    assert newest.value == -math.inf
    assert seal(link, NOON_MS + 10**9).blocks == 1
    assert stored() == expected


def test_a_minus_zero_is_the_newest_reading_too(
    link: ServerConnection, served: tuple[Database, Site]
) -> None:
    write(link, served[1], "battery", {NOON_MS: {"power": -0.0}})
    (newest,) = latest_readings(link, served[1].id)
    assert bits([float(newest.value)]) == bits([-0.0])


def test_a_text_of_any_characters_is_a_reading(
    link: ServerConnection, served: tuple[Database, Site]
) -> None:
    # A server's own texts hold no character U+0000; readings may.
    columns = [Column("mode", "", "text"), Column("power", "W")]
    texts = ["a\0b", "", "Löß 🏺", "back\\slash 'quoted'"]
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + at: {"mode": text, "power": None} for at, text in enumerate(texts)
    }
    write(link, served[1], "battery", rows, columns)
    late: dict[int, dict[str, Value]] = {NOON_MS - 1: {"mode": "\0", "power": None}}
    write(link, served[1], "battery", late, columns)
    series = [one for one in series_of(link, served[1].id) if one.kind == "text"]
    block, damaged = read_series(link, series, Span(NOON_MS - 10, NOON_MS + 10))
    assert (list(block.columns[series[0].id].values), damaged) == (["\0", *texts], ())
    (newest,) = latest_readings(link, served[1].id)
    assert newest.value == texts[-1]


def test_a_note_cannot_hold_what_a_server_s_text_cannot(link: ServerConnection) -> None:
    # U+FFFD stands for what cannot be represented (The Unicode Standard, section 23.8).
    assert link.execute("SELECT ?", ("a\0b",)).fetchone() == ("a\ufffdb",)
    link.execute("CREATE TEMPORARY TABLE notes (note words)")
    link.executemany("INSERT INTO notes VALUES (?)", [("c\0",), ("d",)])
    assert link.execute("SELECT note FROM notes ORDER BY 1").fetchall() == [("c\ufffd",), ("d",)]
    link.execute("DROP TABLE notes")


@pytest.mark.parametrize(
    ("sql", "expected"),
    [
        ("SELECT sum(x) FROM (VALUES (1::bigint), (2)) AS v (x)", 3),
        ("SELECT sum(x) FROM (VALUES (-9223372036854775807), (-1)) AS v (x)", -(2**63)),
        ("SELECT avg(x) FROM (VALUES (1), (2)) AS v (x)", 1.5),
        ("SELECT max(1::bigint) - 2", -1),
    ],
)
def test_sums_of_whole_numbers_are_whole(link: ServerConnection, sql: str, expected: float) -> None:
    (found,) = link.execute(sql).fetchone()
    assert (type(found), found) == (type(expected), expected)


def test_values_stand_where_the_statement_says(link: ServerConnection) -> None:
    assert link.execute("SELECT ?, ?::text, ?", (1, None, b"\0\xff")).fetchone() == (
        *(1, None),
        b"\0\xff",
    )
    named = link.execute("SELECT :b::text || :a, :a", {"a": "x", "b": "y"})
    assert named.fetchone() == ("yx", "x")
    percent = link.execute("SELECT 'studio' LIKE 's%o', 'a' LIKE ?, 7 % 4", ("%a%",))
    assert percent.fetchone() == (True, True, 3)
    assert link.execute("SELECT 7 % 4, 'a' LIKE '%'").fetchone() == (3, True)
    assert link.execute("SELECT 'it''s' || ?", ("'; DROP TABLE sites; --",)).fetchone() == (
        "it's'; DROP TABLE sites; --",
    )
    assert link.execute("SELECT ?, ?", (True, 2**40)).fetchone() == (True, 2**40)
