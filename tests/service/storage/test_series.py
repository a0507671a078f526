from contextlib import closing
from itertools import permutations
from sqlite3 import IntegrityError

import psycopg
import pytest

from joulebook.core.spans import Span
from joulebook.storage import series
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_device
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.series import (
    MAX_SERIES,
    SeriesMismatch,
    SeriesRegister,
    TooManyDevices,
    TooManySeries,
    devices_of,
    series_of,
)
from tests.helpers.databases import NOON_MS, undone, write

POWER = Column("power", "W")
SOC = Column("soc", "/")
#: What either driver raises where a table's rules are broken.
_REFUSED = (IntegrityError, psycopg.IntegrityError)


def test_series_are_made_once_and_found_in_the_order_asked(
    connection: Connection, site: Site
) -> None:
    register = SeriesRegister()
    with transaction(connection):
        power, soc = register.resolve(connection, site.id, "battery", (POWER, SOC))
        again = register.resolve(connection, site.id, "battery", (SOC, POWER))
    assert again == (soc, power)
    assert (power.device, power.quantity, power.unit, power.kind) == (
        "battery",
        "power",
        "W",
        "number",
    )
    assert series_of(connection, site.id) == [power, soc]
    with transaction(connection):
        assert SeriesRegister().resolve(connection, site.id, "battery", (SOC,)) == (soc,)
        assert register.device_id(connection, site.id, "battery") == soc.device_id


def test_each_device_and_each_site_has_its_own(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    register = SeriesRegister()
    with transaction(connection):
        (one,) = register.resolve(connection, site.id, "battery", (POWER,))
        (two,) = register.resolve(connection, site.id, "battery-2", (POWER,))
        (three,) = register.resolve(connection, annexe.id, "battery", (POWER,))
    assert len({one.device_id, two.device_id, three.device_id}) == 3
    assert [one.slot, two.slot, three.slot] == [0, 0, 0]
    assert series_of(connection, site.id) == [one, two]
    assert series_of(connection, annexe.id) == [three]


@pytest.mark.parametrize("other", [Column("power", "V"), Column("power", "W", "text")])
def test_another_unit_or_kind_is_refused_and_makes_nothing(
    connection: Connection, site: Site, other: Column
) -> None:
    register = SeriesRegister()
    with transaction(connection):
        (power,) = register.resolve(connection, site.id, "battery", (POWER,))
        with pytest.raises(SeriesMismatch, match=r"battery.power is stored as number \[W\]") as e:
            register.resolve(connection, site.id, "battery", (SOC, other))
    assert e.value.column == other
    assert e.value.existing == power
    assert series_of(connection, site.id) == [power]


def test_a_quantity_that_comes_twice_is_a_bug(connection: Connection, site: Site) -> None:
    with transaction(connection), pytest.raises(ValueError, match="comes twice"):
        SeriesRegister().resolve(connection, site.id, "battery", (POWER, POWER))


def test_outside_a_transaction_nothing_is_made(connection: Connection, site: Site) -> None:
    with pytest.raises(RuntimeError, match="only inside a transaction"):
        SeriesRegister().resolve(connection, site.id, "battery", (POWER,))
    assert series_of(connection, site.id) == []


def test_after_a_rollback_the_register_forgets_and_makes_anew(
    connection: Connection, site: Site
) -> None:
    register = SeriesRegister()
    with undone(connection):
        register.resolve(connection, site.id, "battery", (POWER,))
    register.forget()
    with transaction(connection):
        (power,) = register.resolve(connection, site.id, "battery", (POWER,))
    assert series_of(connection, site.id) == [power]


def test_what_another_process_made_is_found(
    database: Database, connection: Connection, site: Site
) -> None:
    register, other_register = SeriesRegister(), SeriesRegister()
    with closing(database.connect()) as other:
        with transaction(connection):
            register.resolve(connection, site.id, "battery", (POWER,))
        with transaction(other):
            theirs = other_register.resolve(other, site.id, "battery", (SOC, POWER))
        with transaction(connection):
            assert register.resolve(connection, site.id, "battery", (SOC, POWER)) == theirs


def test_the_tables_allow_no_second_of_a_kind(connection: Connection, site: Site) -> None:
    with transaction(connection):
        SeriesRegister().resolve(connection, site.id, "battery", (POWER,))
    with pytest.raises(_REFUSED, match=r"(?i)unique constraint.* .?devices"):
        connection.execute("INSERT INTO devices (site_id, name) SELECT site_id, name FROM devices")
    for clash in ("quantity, 99", "'other', slot"):
        with pytest.raises(_REFUSED, match=r"(?i)unique constraint.* .?series"):
            connection.execute(
                "INSERT INTO series (device_id, unit, kind, quantity, slot)"
                f"SELECT device_id, unit, kind, {clash} FROM series"
            )


def test_a_device_with_more_series_than_columns_gets_more_columns(
    database: Database, connection: Connection, site: Site
) -> None:
    names = [f"cell_{number}" for number in range(40)]
    columns = [Column(name, "V") for name in names]
    first = {NOON_MS: dict[str, Value](dict.fromkeys(names[:10], 3.2))}
    write(connection, site, "battery", first, columns[:10])
    with closing(database.connect()) as other:
        # A reader that is open all the while sees the wider table.
        span = Span(NOON_MS, NOON_MS + 10_000)
        assert len(read_device(other, site.id, "battery", span).values) == 10
        wide: dict[str, Value] = {name: float(place) for place, name in enumerate(names)}
        write(connection, site, "battery", {NOON_MS + 5000: wide}, columns)
        readings = read_device(other, site.id, "battery", span)
    assert list(readings.values) == names
    assert [array[1] for array in readings.values.values()] == list(range(40))
    assert [series.slot for series in series_of(connection, site.id)] == list(range(40))


@pytest.mark.on_a_file
def test_a_wider_table_is_taken_back_with_its_transaction(
    connection: Connection, site: Site
) -> None:
    columns = tuple(Column(f"q{number}", "V") for number in range(20))
    with undone(connection):
        SeriesRegister().resolve(connection, site.id, "battery", columns)
    names = [row[1] for row in connection.execute("PRAGMA table_info(readings)")]
    assert names == ["device_id", "at_ms", *(f"v{slot}" for slot in range(16))]


def test_a_site_has_so_many_devices(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(series, "MAX_DEVICES", 1)
    register = SeriesRegister()
    with transaction(connection):
        register.resolve(connection, site.id, "battery", (POWER,))
        with pytest.raises(TooManyDevices, match="no place for battery-2"):
            register.resolve(connection, site.id, "battery-2", (POWER,))
    assert devices_of(connection, site.id) == {"battery"}


def test_a_sender_that_permutes_its_quantities_does_not_fill_the_memory(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(series, "_MOST_SETS", 3)
    monkeypatch.setattr(series, "_MOST_COLUMNS", 4)
    columns = [Column(f"q{number}", "V") for number in range(5)]
    register = SeriesRegister()
    with transaction(connection):
        for order in permutations(columns[:4], 4):
            found = register.resolve(connection, site.id, "battery", order)
            assert [each.quantity for each in found] == [each.quantity for each in order]
            [sets] = register._resolved.values()
            assert len(sets) <= 3
        [sets] = register._resolved.values()
        before = len(sets)
        assert len(register.resolve(connection, site.id, "battery", tuple(columns))) == 5
        assert len(sets) <= before


def test_a_register_forgets_devices_before_they_fill_the_memory(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(series, "_MOST_DEVICES", 2)
    register = SeriesRegister()
    with transaction(connection):
        for number in range(5):
            [found] = register.resolve(connection, site.id, f"meter-{number}", (POWER,))
            assert found.device == f"meter-{number}"
            assert len(register._resolved) <= 2


def test_a_device_that_makes_up_names_without_end_is_refused(
    connection: Connection, site: Site
) -> None:
    columns = tuple(Column(f"q{number}", "V") for number in range(MAX_SERIES))
    register = SeriesRegister()
    with transaction(connection):
        register.resolve(connection, site.id, "battery", columns)
        with pytest.raises(TooManySeries, match="512 quantities already") as caught:
            register.resolve(connection, site.id, "battery", (POWER,))
    assert caught.value.column == POWER
    assert len(series_of(connection, site.id)) == MAX_SERIES
    wide: dict[str, Value] = {column.quantity: 1.0 for column in columns}
    assert write(connection, site, "battery", {NOON_MS: wide}, columns).new == MAX_SERIES
