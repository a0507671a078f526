"""Readings of any kind in any order, sealed and merged at any moment, against a dict."""

from dataclasses import dataclass, field
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.storage import sealing
from joulebook.storage.blocks.block import DeviceBlock, encode_block
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import clear_results, dirty_days
from joulebook.storage.reading import latest_readings, read_series, readings_span
from joulebook.storage.records import Column, DeviceRows, Site, Value, Written
from joulebook.storage.series import SeriesRegister, series_of
from joulebook.storage.writing import write_rows
from tests.helpers.databases import undone

DAY_MS = 86_400_000
#: 2026-03-02T00:00:00Z, a Monday: here an ISO week begins. [ms, UTC epoch]
MONDAY_MS = 1_772_409_600_000
INSTANTS = [
    MONDAY_MS + DAY_MS * day + at
    for day in (-1, 0, 1, 6, 7, 13)
    for at in (0, 10_000, 20_000, 43_200_000, DAY_MS - 1)
]
KINDS: dict[str, ValueKind] = {"power": "number", "soc": "number", "state": "text", "fan": "flag"}
VALUES: dict[ValueKind, st.SearchStrategy[Value]] = {
    "number": st.sampled_from([None, float("nan"), 0.0, -0.0, 1.0, 2.5, 1 / 3, 1e300]),
    "text": st.sampled_from([None, "", "idle", "lädt"]),
    "flag": st.sampled_from([None, True, False]),
}
DEVICES = ("battery", "inverter")
#: When sealing is asked for, in days after that Monday. A clock may also jump back.
NOWS = st.sampled_from([-2, 3, 4, 9, 10, 16, 21, 30])

Rows = list[tuple[Value, ...]]
Part = tuple[str, list[str], Rows]


@st.composite
def parts(draw: st.DrawFn) -> Part:
    quantities = draw(st.lists(st.sampled_from(list(KINDS)), min_size=1, unique=True))
    row = st.tuples(st.sampled_from(INSTANTS), *(VALUES[KINDS[name]] for name in quantities))
    rows = draw(st.lists(row, max_size=12))
    if draw(st.booleans()):  # in order and each instant once, as a healthy bridge sends
        rows = sorted({row[0]: row for row in rows}.values(), key=lambda row: row[0])
    return draw(st.sampled_from(DEVICES)), quantities, list(rows)


@dataclass(frozen=True)
class Writes:
    batch: list[Part]
    commits: bool


@dataclass(frozen=True)
class Seals:
    now_day: int
    rows_at_once: int
    steps: int  # transactions until it is stopped
    meanwhile: list[list[Part]]  # written one by one while it encodes, or between transactions


batches = st.lists(parts(), max_size=3)
interruptions: st.SearchStrategy[list[list[Part]]] = st.one_of(
    st.just([]), st.lists(batches, max_size=3)
)
steps = st.one_of(
    st.builds(Writes, batches, st.sampled_from([True, True, True, False])),
    st.builds(
        Seals, NOWS, st.sampled_from([1, 2, 1000]), st.sampled_from([1, 2, 3, 1000]), interruptions
    ),
)


@dataclass
class Model:
    """What should be read, kept the simplest way."""

    readings: dict[tuple[str, str, int], Value] = field(default_factory=dict)

    def write(self, batch: list[Part]) -> Written:
        new = repeated = replaced = 0
        for device, quantities, rows in batch:
            for at_ms, *row in rows:
                assert isinstance(at_ms, int)
                for quantity, value in zip(quantities, row, strict=True):
                    if value is None or value != value:
                        continue
                    key = (device, quantity, at_ms)
                    if key not in self.readings:
                        new += 1
                    elif self.readings[key] == value:
                        repeated += 1
                        continue
                    else:
                        replaced += 1
                    self.readings[key] = value
        return Written(new, repeated, replaced)

    def exactly(self) -> set[tuple[str, str, int, str]]:
        # repr tells -0.0 from 0.0, and 1.0 from True.
        return {(*key, repr(value)) for key, value in self.readings.items()}


numbers = count()


@settings(derandomize=True, deadline=None, max_examples=100)
@given(turns=st.lists(steps, max_size=9))
def test_sealed_or_hot_it_reads_and_counts_as_a_dict(
    careless: tuple[Database, Connection], turns: list[Writes | Seals]
) -> None:
    database, connection = careless
    site = add_site(database, f"site-{next(numbers)}", "Europe/Lisbon")
    register, model = SeriesRegister(), Model()
    for turn in turns:
        if isinstance(turn, Seals):
            _seal(turn, connection, register, site, model)
            assert stored(connection, site) == model.exactly()
        elif turn.commits:
            _commit(connection, register, site, turn.batch, model)
        else:
            with undone(connection):
                _write(connection, register, site, turn.batch)
            register.forget()
    assert stored(connection, site) == model.exactly()
    # However it was stopped, the next run ends it.
    counts = sealing.seal(connection, MONDAY_MS + 40 * DAY_MS)
    assert (counts.postponed, counts.damaged) == (0, ())
    _assert_all_sealed(connection)
    assert stored(connection, site) == model.exactly()
    _assert_the_rest_knows(connection, site, model)


def _seal(
    turn: Seals, connection: Connection, register: SeriesRegister, site: Site, model: Model
) -> None:
    budget = iter([True] * (turn.steps - 1))
    meanwhile = turn.meanwhile.copy()

    def interrupt() -> None:
        if meanwhile:
            _commit(connection, register, site, meanwhile.pop(0), model)

    def between() -> bool:
        interrupt()
        return next(budget, False)

    def encode_interrupted(block: DeviceBlock) -> bytes:
        interrupt()
        return encode_block(block)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sealing, "encode_block", encode_interrupted)
        now_ms = MONDAY_MS + turn.now_day * DAY_MS
        sealing.seal(connection, now_ms, rows_at_once=turn.rows_at_once, between=between)


def _commit(
    connection: Connection,
    register: SeriesRegister,
    site: Site,
    batch: list[Part],
    model: Model,
) -> None:
    with transaction(connection):
        written = _write(connection, register, site, batch)
    assert written == model.write(batch)


def _write(
    connection: Connection, register: SeriesRegister, site: Site, batch: list[Part]
) -> Written:
    ready = []
    for device, quantities, rows in batch:
        columns = tuple(Column(name, "", KINDS[name]) for name in quantities)
        series = register.resolve(connection, site.id, device, columns)
        ready.append(DeviceRows(site.id, series[0].device_id, series, rows))
    return write_rows(connection, {site.id: site.zone}, ready)


def stored(connection: Connection, site: Site) -> set[tuple[str, str, int, str]]:
    found: set[tuple[str, str, int, str]] = set()
    whole = Span(INSTANTS[0], INSTANTS[-1] + 1)
    for device in DEVICES:
        series = [one for one in series_of(connection, site.id) if one.device == device]
        if not series:
            continue
        block, damaged = read_series(connection, series, whole)
        assert damaged == ()
        assert (block.at_ms[1:] > block.at_ms[:-1]).all()
        for one in series:
            column = block.columns[one.id]
            present = column.present()
            values = column.values[present].tolist()
            if one.kind == "flag":
                values = [bool(value) for value in values]
            times = block.at_ms[present].tolist()
            found.update(
                (device, one.quantity, at_ms, repr(value))
                for at_ms, value in zip(times, values, strict=True)
            )
    return found


def _assert_all_sealed(connection: Connection) -> None:
    for table in ("readings", "hot_days"):
        assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    # One block a device and week.
    several = connection.execute(
        """
        SELECT count(*)
        FROM blocks
        GROUP BY device_id, (start_ms - ?) / ?
        HAVING count(*) > 1
        """,
        (MONDAY_MS - 7 * DAY_MS, 7 * DAY_MS),
    ).fetchall()
    assert several == []


def _assert_the_rest_knows(connection: Connection, site: Site, model: Model) -> None:
    """What looks at all readings of a site must see sealed ones as it sees hot ones."""
    times = sorted(at_ms for *_, at_ms in model.readings)
    span = readings_span(connection, site.id)
    assert span == (Span(times[0], times[-1] + 1) if times else None)
    expected: dict[tuple[str, str], tuple[int, Value]] = {}
    for (device, quantity, at_ms), value in sorted(
        model.readings.items(), key=lambda item: item[0]
    ):
        expected[device, quantity] = (at_ms, value)
    newest = {
        (one.series.device, one.series.quantity): (one.at_ms, one.value)
        for one in latest_readings(connection, site.id)
    }
    assert newest == expected
    dirty = {one.day for one in dirty_days(connection, 10**6) if one.site_id == site.id}
    clear_results(connection, site.id)
    anew = {one.day for one in dirty_days(connection, 10**6) if one.site_id == site.id}
    assert anew == dirty
