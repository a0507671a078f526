"""A site's record, read: several batteries, other clocks, faster logging, corrections."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.corrections import Correction
from joulebook.core.history import Floats, PackHistory
from joulebook.storage.catalogue import add_site
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site
from joulebook.summaries import histories
from joulebook.summaries.histories import NoRecordError, SiteHistory, read_history
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import cycled_history, store_columns
from tests.helpers.databases import write

DAYS = 3


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "UTC", battery_ah=200.0, battery_cells=16)
    yield database, site
    database.close()


@pytest.fixture
def history() -> PackHistory:
    return cycled_history(DAYS)


def read(home: tuple[Database, Site]) -> SiteHistory:
    database, site = home
    with closing(database.connect()) as connection:
        return read_history(connection, site, max_gap_s=300.0)


def battery(history: PackHistory) -> dict[str, Floats]:
    return {
        "voltage": history.voltage_v,
        "current": history.current_a,
        "temperature": history.temperature_c,
    }


def test_what_was_stored_is_what_is_read(home: tuple[Database, Site], history: PackHistory) -> None:
    store_columns(*home, history, battery=battery(history))
    found = read(home)
    assert found.pack.at_ms.tolist() == history.at_ms.tolist()
    assert found.pack.voltage_v == pytest.approx(history.voltage_v)
    assert found.pack.current_a == pytest.approx(history.current_a)
    assert (found.pack.step_s, found.pack.rated_ah, found.pack.cells) == (300.0, 200.0, 16)
    assert not found.powers.has_load
    assert (found.powers.pv_w == 0).all()
    assert found.charge_counter_wh is None
    assert found.soc_ratio is None
    assert found.spread_v is None
    assert found.words == (
        "battery: voltage, current",
        "temperature: the battery's own",
    )


def test_batteries_in_parallel_are_one(home: tuple[Database, Site], history: PackHistory) -> None:
    one = battery(history)
    half = history.current_a / 2
    cells = {"cell_voltage_min": history.voltage_v / 16, "soh": np.ones(history.at_ms.size)}
    counter = np.arange(history.at_ms.size, dtype=float)
    more = {
        **one,
        "current": half,
        "charge_energy": counter,
        "discharge_energy": counter,
        **cells,
    }
    store_columns(
        *home,
        history,
        battery={**more, "cell_voltage_max": history.voltage_v / 16 + 0.01},
        battery_2={**more, "cell_voltage_max": history.voltage_v / 16 + 0.03},
    )
    found = read(home)
    assert found.pack.current_a == pytest.approx(history.current_a)
    assert found.pack.voltage_v == pytest.approx(history.voltage_v)
    assert found.charge_counter_wh == pytest.approx(2 * counter)
    assert found.soh_ratio == pytest.approx(1.0)
    assert found.spread_v == pytest.approx(0.03, abs=1e-9)


def test_devices_of_another_clock_are_put_on_the_batterys(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    store_columns(*home, history, battery=battery(history))
    late = replace(history, at_ms=history.at_ms + 60_000)
    line = np.arange(history.at_ms.size, dtype=float)
    store_columns(*home, late, load={"power_l1": line, "power_l2": line})
    store_columns(*home, late, pv={"voltage": line}, grid={"power": -line})
    found = read(home)
    assert found.powers.has_load
    assert np.isnan(found.powers.load_w[0])
    # A fifth of the way back along a line that rises by 2 each step.
    assert found.powers.load_w[1:] == pytest.approx(2 * line[1:] - 0.4)
    assert np.isnan(found.powers.pv_w).all()
    assert "pv: reports nothing that gives its power" in found.words
    assert "load: sum of both legs" in found.words


def test_a_clamp_the_wrong_way_round_counts_as_nothing_measured(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    store_columns(*home, history, battery=battery(history))
    size = history.at_ms.size
    once = np.where(np.arange(size) == 7, -500.0, 300.0)
    store_columns(
        *home,
        history,
        pv={"power": np.full(size, -300.0)},
        load={"power": once},
        grid={"power": np.full(size, -300.0)},
    )
    found = read(home).powers
    assert np.isnan(found.pv_w).all()
    assert np.flatnonzero(np.isnan(found.load_w)).tolist() == [7]
    assert (found.grid_w == -300.0).all()


def test_power_over_voltage_stands_in_for_a_current(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    power = history.voltage_v * history.current_a
    store_columns(*home, history, battery={"voltage": history.voltage_v, "power": power})
    found = read(home)
    assert found.pack.current_a == pytest.approx(history.current_a)
    assert np.isnan(found.pack.temperature_c).all()
    assert found.words[1] == "temperature: none was read"


def test_the_air_stands_in_for_the_batterys_temperature(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    store_columns(
        *home,
        history,
        battery={"voltage": history.voltage_v, "current": history.current_a},
        ambient={"temperature": history.temperature_c - 4.0},
    )
    found = read(home)
    assert found.pack.temperature_c == pytest.approx(21.0)
    assert found.words[1] == "temperature: that of ambient, for the battery reports none"


def test_an_air_sensor_that_never_told_a_temperature_says_nothing(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    database, site = home
    columns = {"voltage": history.voltage_v, "current": history.current_a}
    store_columns(database, site, history, battery=columns)
    with closing(database.connect()) as connection:
        write(connection, site, "ambient", {}, [Column("humidity", "/")])
        write(connection, site, "ambient-2", {}, [Column("temperature", "Cel")])
    assert np.isnan(read(home).pack.temperature_c).all()


def test_batteries_of_two_clocks_are_put_on_one(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    store_columns(*home, history, battery=battery(history))
    later = replace(history, at_ms=history.at_ms + 60_000)
    steady = {name: np.full(history.at_ms.size, 1.0) for name in battery(history)}
    store_columns(*home, later, battery_2=steady)
    found = read(home)
    assert found.pack.current_a[1:] == pytest.approx(history.current_a[1:] + 1.0)
    assert np.isnan(found.pack.current_a[0])


def test_fast_readings_become_minutes(home: tuple[Database, Site]) -> None:
    at_ms = START_MS + np.arange(0, 3_600_000, 10_000)
    fast = replace(cycled_history(1), at_ms=at_ms)
    saw = (np.arange(at_ms.size) % 6).astype(float)
    store_columns(*home, fast, battery={"voltage": 52 + saw, "current": -saw})
    found = read(home)
    assert found.pack.step_s == 60.0
    assert found.pack.voltage_v[:-1] == pytest.approx(54.5)
    assert found.pack.current_a[:-1] == pytest.approx(-2.5)


def test_a_long_record_becomes_more_minutes(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(histories, "MOST_ROWS", 30)
    at_ms = START_MS + np.arange(0, 3_600_000 + 1, 60_000)
    hour = replace(cycled_history(1), at_ms=at_ms)
    line = np.arange(at_ms.size, dtype=float)
    store_columns(*home, hour, battery={"voltage": 52 + line, "current": -line})
    found = read(home).pack
    # An hour and an instant of minutes are 61 rows; three minutes are one.
    assert found.step_s == 180.0
    assert found.current_a[:3] == pytest.approx([-1.0, -4.0, -7.0])


def test_corrections_are_applied(home: tuple[Database, Site], history: PackHistory) -> None:
    database, site = home
    store_columns(database, site, history, battery=battery(history))
    wanted = Correction(id=0, device="battery", quantity="current", kind="sign", made_ms=1)
    with closing(database.connect()) as connection:
        add_correction(connection, site, wanted)
    assert read(home).pack.current_a == pytest.approx(-history.current_a)


def test_what_is_lacking_is_told(home: tuple[Database, Site], history: PackHistory) -> None:
    database, site = home
    with pytest.raises(NoRecordError, match="has no battery device"):
        read(home)
    with pytest.raises(NoRecordError, match="were not entered"):
        read((database, replace(site, battery_ah=None)))
    store_columns(database, site, history, battery={"soc": np.full(history.at_ms.size, 0.5)})
    with pytest.raises(NoRecordError, match="reports no voltage"):
        read(home)


def test_voltage_and_current_that_never_meet_are_no_record(
    home: tuple[Database, Site], history: PackHistory
) -> None:
    odd = np.arange(history.at_ms.size) % 2 == 1
    store_columns(
        *home,
        history,
        battery={
            "voltage": np.where(odd, history.voltage_v, np.nan),
            "current": np.where(odd, np.nan, history.current_a),
        },
    )
    with pytest.raises(NoRecordError, match="never read together"):
        read(home)
