from dataclasses import fields

import numpy as np
import pytest

from joulebook.core.quantities import QUANTITIES
from joulebook.demo.history import History, came
from joulebook.demo.outages import RESTART_DAY, restart_ms
from joulebook.demo.plant import Truth
from joulebook.demo.studio import DAY_MS, STEP_MS, STEPS_A_DAY
from tests.helpers.studio_history import INSTALLED, told

COUNTERS = [(device, name) for device, of in QUANTITIES.items() for name in of if of[name].counter]


def test_the_same_date_tells_the_same_history_in_whatever_pieces() -> None:
    history, whole = told(12)
    again = History(INSTALLED)
    pieces = [again.tell(days) for days in (1, 3, 8)]
    for field in fields(Truth):
        joined = np.concatenate([getattr(piece.truth, field.name) for piece in pieces])
        np.testing.assert_array_equal(joined, getattr(whole.truth, field.name), field.name)
    heard = [came(piece, again.start_ms) for piece in pieces]
    for device, (at_ms, values) in came(whole, history.start_ms).items():
        np.testing.assert_array_equal(np.concatenate([part[device][0] for part in heard]), at_ms)
        for quantity, column in values.items():
            joined = np.concatenate([part[device][1][quantity] for part in heard])
            np.testing.assert_array_equal(joined, column, f"{device}.{quantity}")


def test_another_date_tells_another_history() -> None:
    other = History(INSTALLED.replace(day=2)).tell(1)
    assert (other.truth.load_w != told(12)[1].truth.load_w[:STEPS_A_DAY]).any()


def test_it_is_told_in_pieces_through_the_day_that_holds_the_end() -> None:
    history = History(INSTALLED)
    end_ms = history.start_ms + 4 * DAY_MS
    ends = [stretch.end_ms for stretch in history.until(end_ms, 2)]
    assert ends == [history.start_ms + days * DAY_MS for days in (2, 4, 5)]
    assert list(history.until(end_ms, 2)) == []
    assert list(History(INSTALLED).until(history.start_ms - 1, 2)) == []


def test_what_came_has_gaps_of_rows_and_of_single_readings() -> None:
    history, stretch = told(426)
    at_ms, values = came(stretch, history.start_ms)["battery"]
    assert 0.98 < len(at_ms) / len(stretch.truth.at_ms) < 0.995
    assert np.diff(at_ms).max() > 51 * 3_600_000
    missing = np.array([np.isnan(column).mean() for column in values.values()])
    assert (missing > 0).all()
    assert missing.max() < 0.002


def test_one_counter_starts_anew_once_and_the_others_only_rise() -> None:
    history, stretch = told(426)
    for device, quantity in COUNTERS:
        falls = np.flatnonzero(np.diff(stretch.counters_wh[device][quantity]) < 0)
        if (device, quantity) == ("pv", "energy"):
            assert (falls + 1).tolist() == [RESTART_DAY * STEPS_A_DAY + STEPS_A_DAY // 2]
            assert stretch.truth.at_ms[falls[0] + 1] == restart_ms(history.start_ms)
            assert stretch.counters_wh[device][quantity][falls[0] + 1] == 0
        else:
            assert not len(falls), (device, quantity)


def test_a_counter_holds_the_energy_of_its_instrument() -> None:
    _, stretch = told(426)
    imported_wh = np.maximum(stretch.truth.grid_w, 0).sum() / 30
    assert stretch.counters_wh["grid"]["import_energy"][-1] == pytest.approx(imported_wh, rel=0.02)


def test_at_the_steps_it_shows_what_the_bridge_would_have_heard() -> None:
    history = History(INSTALLED)
    stretch = history.tell(3)
    heard = came(stretch, history.start_ms)
    for step in (0, 700, 1500, 3 * STEPS_A_DAY - 1):
        at_ms = int(stretch.truth.at_ms[step])
        now = history.at(at_ms)
        assert now is not None
        assert list(now) == list(QUANTITIES)
        for device, (times, values) in heard.items():
            for quantity, column in values.items():
                told_then = column[times == at_ms]
                known = told_then[~np.isnan(told_then)]
                assert (known == now[device][quantity]).all(), (device, quantity)


def test_between_the_steps_noise_moves_and_counters_rise() -> None:
    history = History(INSTALLED)
    history.tell(2)
    noon_ms = history.start_ms + DAY_MS + DAY_MS // 2
    moments = [history.at(noon_ms + late_ms) for late_ms in range(0, 4 * STEP_MS, 5_000)]
    shown = [now for now in moments if now is not None]
    assert len(shown) == len(moments)
    assert len({now["grid"]["voltage_l1"] for now in shown}) > 5
    for device, quantity in COUNTERS:
        counts = [now[device][quantity] for now in shown]
        assert counts == sorted(counts), (device, quantity)
    assert shown[-1]["pv"]["energy"] > shown[0]["pv"]["energy"]


def test_it_goes_on_by_itself_and_never_back() -> None:
    history = History(INSTALLED)
    later = history.at(history.start_ms + 3 * DAY_MS + 5_000)
    assert later is not None
    assert history.at(history.start_ms + 2 * DAY_MS) is None
    assert History(INSTALLED).at(history.start_ms - 1) is None


def test_a_counter_that_restarts_shows_no_half_way() -> None:
    history = History(INSTALLED)
    for _ in history.until(history.start_ms + RESTART_DAY * DAY_MS, 60):
        pass
    restart = restart_ms(history.start_ms)
    before, during, after = (history.at(restart + ms) for ms in (-STEP_MS, -5_000, 0))
    assert before is not None
    assert during is not None
    assert after is not None
    assert during["pv"]["energy"] >= before["pv"]["energy"] > 1_000_000
    assert after["pv"]["energy"] == 0


def test_the_history_stays_the_one_that_databases_already_hold() -> None:
    # Not a check of the model: recorded from it. A change here means that a demonstration made
    # by an earlier version would go on with another history than the one it has stored.
    history = History(INSTALLED)
    now = history.at(history.start_ms + 40 * DAY_MS + DAY_MS // 2 + 5_000)
    assert now is not None
    assert now["battery"] == {
        "voltage": 53.5,
        "current": 27.3,
        "power": 1459.0,
        "soc": 0.54,
        "soh": 1.0,
        "temperature": 18.4,
        "cell_voltage_min": 3.342,
        "cell_voltage_max": 3.347,
        "charge_energy": 256_120.0,
        "discharge_energy": 244_220.0,
    }
    assert now["load"] == {
        "power": 859.0,
        "power_l1": 319.0,
        "power_l2": 541.0,
        "energy": 392_840.0,
    }
    assert now["pv"]["energy"] == 670_560.0
    assert now["ambient"] == {"temperature": 21.3}
