"""Simulated homes as a whole: what they log agrees with itself, and with what is true of them."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from joulebook.cli import main
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from tests.helpers.homes import Home, HomeSpec, draw_homes, kept_homes, named_homes, simulate
from tests.helpers.homes.draw import KINDS
from tests.helpers.homes.home import START_MS
from tests.helpers.homes.kept import path_of, simulate_missing
from tests.helpers.homes.written import COLUMNS, write_csv

NAMED = named_homes()
MINUTE_WH = 5 / 60


def short(of: str, **changes: object) -> HomeSpec:
    return replace(NAMED[of], years=0.3, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def homes() -> dict[str, Home]:
    specs = [short(name) for name in NAMED]
    unread = replace(NAMED["deep-perfect"].sensor, missing_ratio=0.0, gaps_per_year=0.0)
    specs.append(short("deep-perfect", name="unbroken", sensor=unread))
    return {home.spec.name: home for home in simulate(specs)}


def test_what_the_sensor_saw_is_what_went_through(homes: dict[str, Home]) -> None:
    home = homes["unbroken"]
    current_a = home.history.current_a
    efc = np.abs(current_a[np.abs(current_a) > 0.05]).sum() * MINUTE_WH / (2 * 200)
    end_ms = START_MS + 110 * MS_PER_DAY
    assert efc == pytest.approx(home.truth.efc(end_ms), rel=0.001)


def test_energy_is_used_stored_or_lost(homes: dict[str, Home]) -> None:
    home = homes["unbroken"]
    powers = home.powers
    lost_w = powers.pv_w + powers.grid_w - powers.load_w - home.battery_w
    at_rest = (powers.pv_w == 0) & (np.abs(home.history.current_a) < 0.05)
    # The meters scatter by 4 W each; at rest only the inverter's own draw is lost.
    assert lost_w[at_rest].mean() == pytest.approx(home.spec.control.idle_w, abs=1.0)
    assert lost_w.mean() > home.spec.control.idle_w
    assert lost_w.sum() < 0.15 * (powers.pv_w.sum() + np.maximum(powers.grid_w, 0).sum())


def test_counters_count_what_their_sensor_saw(homes: dict[str, Home]) -> None:
    home = homes["unbroken"]
    charged_wh, discharged_wh = home.counters_wh
    for counter, power_w in ((charged_wh, home.battery_w), (discharged_wh, -home.battery_w)):
        seen_wh = np.maximum(power_w, 0).sum() * MINUTE_WH
        assert counter[-1] == pytest.approx(seen_wh, abs=10)
        assert np.all(np.diff(counter) >= 0)
        assert np.all(counter % 10 == 0)


def test_counters_go_on_while_the_log_is_silent(homes: dict[str, Home]) -> None:
    home = homes["stops-and-gap"]
    charged_wh, _ = home.counters_wh
    silent = np.argmax(np.diff(home.at_ms))
    days = np.diff(home.at_ms)[silent] / MS_PER_DAY
    assert days == pytest.approx(70, abs=2)
    assert charged_wh[silent + 1] - charged_wh[silent] > 2000 * days


def test_readings_come_in_the_instruments_steps(homes: dict[str, Home]) -> None:
    history = homes["deep-unlearned"].history
    current_a = history.current_a[~np.isnan(history.current_a)]
    assert current_a * 10 == pytest.approx(np.round(current_a * 10), abs=1e-6)
    assert np.all(history.temperature_c == np.round(history.temperature_c))


def test_a_wrong_sensor_is_wrong_as_said(homes: dict[str, Home]) -> None:
    # At rest it shows its offset (0.22 A, and 1 mA a degree away from 25).
    home = homes["deep-unlearned"]
    history = home.history
    at_rest = np.abs(history.current_a) < 0.6
    offset_a = np.nanmean(history.current_a[at_rest])
    assert offset_a == pytest.approx(0.22, abs=0.05)
    assert home.truth.offset_a(START_MS) == pytest.approx(0.22, abs=0.02)


def test_silent_readings_are_absent_or_nan(homes: dict[str, Home]) -> None:
    home = homes["deep-unlearned"]
    history = home.history
    assert 0 < np.isnan(history.voltage_v).sum() < 0.01 * history.at_ms.size
    assert np.all(np.isnan(history.voltage_v) == np.isnan(history.current_a))
    assert np.all(np.diff(history.at_ms) > 0)
    assert np.all((history.at_ms - START_MS) % 300_000 == 0)
    assert 0.9 < home.present_ratio < 1
    assert homes["unbroken"].present_ratio == 1


def test_a_home_is_the_same_whoever_is_simulated_with_it(homes: dict[str, Home]) -> None:
    alone = simulate([short("deep-unlearned")])[0]
    other = homes["deep-unlearned"]
    assert np.array_equal(alone.log.voltage_mv, other.log.voltage_mv)
    assert np.array_equal(alone.log.state, other.log.state)
    # Sums over arrays of another shape round otherwise.
    assert alone.truth.yearly_ah == pytest.approx(other.truth.yearly_ah, rel=1e-6)
    assert alone.spec.key == other.spec.key != homes["unbroken"].spec.key


def test_homes_of_several_lengths_come_back_in_their_order() -> None:
    specs = [
        replace(NAMED["tested"], years=0.05),
        replace(NAMED["never-low"], years=0.04),
        replace(NAMED["cold-garage"], years=0.05),
    ]
    assert [home.spec.name for home in simulate(specs)] == ["tested", "never-low", "cold-garage"]


def test_fast_logs_are_averaged_and_slow_ones_read_now_and_then() -> None:
    base = replace(NAMED["deep-perfect"], years=0.006)
    fast, minute, slow = simulate(
        [
            replace(base, step_s=10, inner_s=10),
            replace(base, step_s=60, inner_s=60),
            replace(base, step_s=300, inner_s=60),
        ]
    )
    assert fast.step_s == minute.step_s == 60
    assert fast.log.state.size == minute.log.state.size == 5 * slow.log.state.size
    assert slow.history.step_s == 300
    # Single readings of a load that comes and goes: the mean is alike, not equal.
    means = [np.nanmean(home.log.load_w) for home in (minute, slow)]
    assert means[0] == pytest.approx(means[1], rel=0.1)


def test_each_home_does_what_it_was_named_for(homes: dict[str, Home]) -> None:
    daily = {name: home.truth.daily for name, home in homes.items()}
    assert daily["never-low"].lowest_x.min() > 0.2
    assert daily["never-full"].highest_x.max() < 0.97
    assert np.mean(daily["deep-perfect"].lowest_x < 0.08) > 0.3
    tests = np.flatnonzero(daily["tested"].lowest_x < 0.08)
    assert set(tests) <= {*range(20, 25), *range(110, 115)}
    assert tests.size > 1
    assert daily["cold-garage"].temperature_c.min() < -2
    assert daily["hot-twice-a-day"].temperature_c.max() > 35
    assert daily["hot-twice-a-day"].cycles.mean() > 0.8


def test_claims_are_the_batterys_own(homes: dict[str, Home]) -> None:
    home = homes["deep-unlearned"]
    assert home.soc_ratio.max() == 1.0
    assert 0 <= home.soc_ratio.min() < 0.15
    assert set(home.soh_ratio) == {1.0}


def test_truth_is_told_between_days_and_far_ahead(homes: dict[str, Home]) -> None:
    truth = homes["deep-perfect"].truth
    start_ms, end_ms = START_MS, START_MS + 100 * MS_PER_DAY
    assert truth.soh(start_ms) == pytest.approx(1.02)
    assert truth.efc(start_ms) == 0
    assert truth.yearly_ah[0] == pytest.approx(1.02 * 200)
    assert truth.capacity_ah(end_ms) == pytest.approx(truth.daily.capacity_ah[99])
    lost = 1 - truth.capacity_ah(end_ms) / truth.capacity_ah(start_ms)
    assert truth.fade_per_year(start_ms, end_ms) == pytest.approx(lost / (100 / DAYS_PER_YEAR))
    assert truth.fade_line(start_ms, end_ms) == pytest.approx(lost / (100 / DAYS_PER_YEAR), rel=0.3)
    assert truth.yearly_ah.shape == (16,)
    assert np.all(np.diff(truth.yearly_ah) < 0)
    assert truth.ten_year_of_rated == pytest.approx(truth.ten_year_of_start * 1.02, rel=0.001)
    assert truth.resistance_ohm(25.0, 0.0) == pytest.approx(0.013, rel=0.01)
    assert truth.resistance_ohm(5.0, 0.0) == pytest.approx(0.013 * np.exp(0.36), rel=0.01)


def test_round_trip_is_told_between_full_charges(homes: dict[str, Home]) -> None:
    truth = homes["deep-perfect"].truth
    ratio = truth.round_trip_ratio(START_MS, START_MS + 110 * MS_PER_DAY)
    # Ohmic and slow losses at about 20 A: 2 * 20 A * 0.02 ohm / 52 V, and the coulombic 0.2 %.
    assert ratio == pytest.approx(0.965, abs=0.015)
    assert truth.round_trip_ratio(START_MS, START_MS + MS_PER_DAY) is None


def test_a_kept_home_is_read_as_it_was(tmp_path: Path) -> None:
    specs = [replace(NAMED["deep-unlearned"], years=0.04), replace(NAMED["tested"], years=0.04)]
    first = list(kept_homes(specs, tmp_path / "kept"))
    assert path_of(specs[0], tmp_path / "kept").exists()
    assert simulate_missing(specs, tmp_path / "kept") == 0
    again = list(kept_homes(specs, tmp_path / "kept"))
    assert np.array_equal(first[1].log.current_ca, again[1].log.current_ca)
    assert np.array_equal(first[0].truth.daily.x, again[0].truth.daily.x)
    assert again[0].spec == specs[0]


def test_a_home_as_csv(homes: dict[str, Home], tmp_path: Path) -> None:
    home = homes["deep-unlearned"]
    end_ms = START_MS + 5 * MS_PER_DAY
    path = tmp_path / "home.csv"
    count = write_csv(home, path, to_ms=round(end_ms))
    with path.open(encoding="utf-8", newline="") as file:
        head, *lines = list(csv.reader(file))
    assert head == ["time", *COLUMNS]
    assert len(lines) == count == np.searchsorted(home.at_ms, end_ms)
    assert int(lines[0][0]) == home.at_ms[0] // 1000
    voltage = [float(line[1]) if line[1] else np.nan for line in lines]
    assert voltage == pytest.approx(home.history.voltage_v[:count].tolist(), nan_ok=True)
    assert {line[1] == "" for line in lines} == {True, False}


def test_the_product_imports_a_home_whole(
    homes: dict[str, Home], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = homes["deep-unlearned"]
    path, data = tmp_path / "home.csv", ["--data", str(tmp_path / "data")]
    count = write_csv(home, path, to_ms=round(START_MS + 2 * MS_PER_DAY))
    missing = 2 * int(np.isnan(home.history.voltage_v[:count]).sum())
    pack = ["--battery-ah", "200", "--battery-cells", "16"]
    assert main(["site", "add", "home", "--timezone", "UTC", *pack, *data]) == 0
    capsys.readouterr()
    assert main(["import", str(path), "--site", "home", "--json", *data]) == 0
    told = json.loads(capsys.readouterr().out)
    # Power is missing with its factors.
    assert told["new"] == 11 * count - missing - missing // 2
    assert told["quarantined"] == 0


def test_homes_are_drawn_far_and_wide_and_by_their_number_alone() -> None:
    specs = draw_homes(150, seed=3)
    assert draw_homes(5, seed=3) == specs[:5]
    assert draw_homes(5, seed=4) != specs[:5]
    assert {spec.kind for spec in specs} == set(KINDS)
    assert {spec.step_s for spec in specs} == {10, 60, 300}
    assert {spec.pack.cells for spec in specs} == {15, 16}
    assert {spec.years for spec in specs} == {1.0, 3.0}
    assert min(s.pack.rated_ah for s in specs) == 100
    assert max(s.pack.rated_ah for s in specs) == 600
    reserves = [spec.control.reserve_ratio for spec in specs]
    assert min(reserves) < 0.07
    assert max(reserves) > 0.33
    assert {spec.control.learns for spec in specs} == {"never", "late", "well"}
    assert {spec.ageing.law for spec in specs} == {"naumann", "power"}
    assert any(spec.sensor.gain == 1 and spec.sensor.offset_a == 0 for spec in specs)
    assert all(abs(spec.sensor.gain - 1) <= 0.01 for spec in specs)
    assert {spec.years for spec in draw_homes(9, seed=3, years=0.5)} == {0.5}
