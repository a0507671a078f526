"""Batches of any kind against a dict that keeps the last value of each (series, instant)."""

from dataclasses import dataclass, field
from datetime import date
from itertools import count
from math import isnan

from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.spans import Span, date_of
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_days
from joulebook.storage.reading import latest_readings, read_device
from joulebook.storage.records import Column, DeviceRows, Site, Value, Written
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows
from tests.helpers.databases import undone

# Around two midnights of Lisbon, one of them with the clocks going forward at 01:00 UTC.
NEAR_MS = [1_774_742_400_000 + 60_000 * minute for minute in (-1440, -7, -5, -1, 0, 4, 5, 61, 700)]
QUANTITIES = ("power", "soc", "voltage")
DEVICES = ("battery", "grid")
MISSING = (None, float("nan"))

values = st.sampled_from([*MISSING, 0.0, -0.0, 1.0, 2.5])


@st.composite
def parts(draw: st.DrawFn) -> tuple[str, list[str], list[tuple[Value, ...]]]:
    quantities = draw(st.lists(st.sampled_from(QUANTITIES), min_size=1, unique=True))
    row = st.tuples(st.sampled_from(NEAR_MS), *(values for _ in quantities))
    rows = draw(st.lists(row, max_size=8))
    if draw(st.booleans()):  # in order and each instant once, as a healthy bridge sends
        rows = sorted({row[0]: row for row in rows}.values(), key=lambda row: row[0])
    return draw(st.sampled_from(DEVICES)), quantities, list(rows)


@dataclass
class Model:
    """What the tables should hold, kept the simplest way."""

    readings: dict[tuple[str, str, int], float] = field(default_factory=dict)
    dirty: set[date] = field(default_factory=set)

    def write(self, batch: list[tuple[str, list[str], list[tuple[Value, ...]]]]) -> Written:
        new = repeated = replaced = 0
        for device, quantities, rows in batch:
            for at_ms, *row in rows:
                assert isinstance(at_ms, int)
                for quantity, value in zip(quantities, row, strict=True):
                    if not isinstance(value, float) or isnan(value):
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
                    self._touch(at_ms)
        return Written(new, repeated, replaced)

    def _touch(self, at_ms: int) -> None:
        for reach_ms in (-300_000, 0, 300_000):
            self.dirty.add(date_of(at_ms + reach_ms, Site(id=0, name="", timezone=ZONE).zone))


ZONE = "Europe/Lisbon"
numbers = count()


@settings(derandomize=True, deadline=None, max_examples=100)
@given(batches=st.lists(st.tuples(st.lists(parts(), max_size=4), st.booleans()), max_size=5))
def test_any_batches_in_any_order_are_as_in_a_dict(
    careless: tuple[Database, Connection],
    batches: list[tuple[list[tuple[str, list[str], list[tuple[Value, ...]]]], bool]],
) -> None:
    database, connection = careless
    site = add_site(database, f"site-{next(numbers)}", ZONE)
    register, model = SeriesRegister(), Model()
    for batch, commits in batches:
        if commits:
            with transaction(connection):
                written = _write(connection, register, site, batch)
            assert written == model.write(batch)
        else:
            with undone(connection):
                _write(connection, register, site, batch)
            register.forget()
    _assert_same(connection, site, model)


def _write(
    connection: Connection,
    register: SeriesRegister,
    site: Site,
    batch: list[tuple[str, list[str], list[tuple[Value, ...]]]],
) -> Written:
    ready = []
    for device, quantities, rows in batch:
        columns = tuple(Column(quantity, "W") for quantity in quantities)
        series = register.resolve(connection, site.id, device, columns)
        ready.append(DeviceRows(site.id, series[0].device_id, series, rows))
    return write_rows(connection, {site.id: site.zone}, ready)


def _assert_same(connection: Connection, site: Site, model: Model) -> None:
    span = Span(min(NEAR_MS), max(NEAR_MS) + 1)
    found = {}
    for device in DEVICES:
        readings = read_device(connection, site.id, device, span)
        assert (readings.at_ms[1:] > readings.at_ms[:-1]).all()
        for quantity, array in readings.values.items():
            for at_ms, value in zip(readings.at_ms.tolist(), array.tolist(), strict=True):
                if not isnan(value):
                    found[device, quantity, at_ms] = value
    assert found == model.readings
    newest = {
        (one.series.device, one.series.quantity): (one.at_ms, one.value)
        for one in latest_readings(connection, site.id)
    }
    expected: dict[tuple[str, str], tuple[int, float]] = {}
    for (device, quantity, at_ms), value in sorted(model.readings.items()):
        expected[device, quantity] = (at_ms, value)
    assert newest == expected
    dirty = {one.day for one in dirty_days(connection, limit=10**6) if one.site_id == site.id}
    assert dirty == model.dirty
