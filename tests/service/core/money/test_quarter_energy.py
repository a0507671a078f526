import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.money.quarter_energy import (
    Floats,
    held_to_days,
    most_both_ways_wh,
    net_by_quarters,
)
from tests.helpers.priced import mean_power

NAN = float("nan")


def test_what_can_have_run_both_ways() -> None:
    # By hand: the power is only ever 900 or -300 W and 100 W on average, so it is 900 W for a
    # third of the time: 300 W bought, 200 W sold; 200 W of them both ways, 50 Wh in a quarter.
    line = mean_power([100.0], [-300.0], [900.0])
    assert most_both_ways_wh(line).tolist() == pytest.approx([50.0])
    # The other way round, and for half of the time.
    line = mean_power([-100.0], [-900.0], [300.0], measured=0.5)
    assert most_both_ways_wh(line).tolist() == pytest.approx([25.0])


def test_what_never_crosses_zero_ran_one_way() -> None:
    line = mean_power([100.0, -100.0, NAN], [0.0, -200.0, NAN], [200.0, 0.0, NAN])
    assert most_both_ways_wh(line).tolist() == [0.0, 0.0, 0.0]
    energy = net_by_quarters(line)
    assert energy.import_wh.tolist() == [25.0, 0.0, 0.0]
    assert energy.export_wh.tolist() == [0.0, 25.0, 0.0]


def test_a_mean_beyond_its_readings_ran_one_way() -> None:
    # A line from a neighbour's reading can do that.
    line = mean_power([950.0, -400.0], [-300.0, -300.0], [900.0, 900.0])
    assert most_both_ways_wh(line).tolist() == pytest.approx([-12.5 + 12.5, 0.0])


def test_without_a_days_result_half_of_it_is_taken() -> None:
    energy = net_by_quarters(mean_power([100.0], [-300.0], [900.0]))
    assert energy.import_wh.tolist() == pytest.approx([50.0])
    assert energy.export_wh.tolist() == pytest.approx([25.0])
    assert energy.unsure_wh.tolist() == pytest.approx([25.0])


def test_a_days_result_says_how_much_it_was() -> None:
    # Three quarter hours: 100 W that may have been 50 Wh both ways, the same once more, and
    # 400 W one way. Their nets are 25, 25 and 100 Wh; the day has 20 Wh more on both sides,
    # so 10 in each of the first two.
    energy = net_by_quarters(
        mean_power([100.0, 100.0, 400.0], [-300.0, -300.0, 400.0], [900.0, 900.0, 400.0])
    )
    day = np.zeros(3, dtype=np.int64)
    held = held_to_days(energy, day, np.array([170.0]), np.array([20.0]))
    assert held.import_wh.tolist() == pytest.approx([35.0, 35.0, 100.0])
    assert held.export_wh.tolist() == pytest.approx([10.0, 10.0, 0.0])
    assert held.unsure_wh.tolist() == [0.0, 0.0, 0.0]


def test_a_day_that_measured_more_of_one_side_only_adds_the_lesser() -> None:
    energy = net_by_quarters(mean_power([100.0], [-300.0], [900.0]))
    day = np.zeros(1, dtype=np.int64)
    held = held_to_days(energy, day, np.array([500.0]), np.array([3.0]))
    assert (held.import_wh[0], held.export_wh[0]) == pytest.approx((28.0, 3.0))


def test_never_more_than_can_be() -> None:
    energy = net_by_quarters(mean_power([100.0], [-300.0], [900.0]))
    day = np.zeros(1, dtype=np.int64)
    held = held_to_days(energy, day, np.array([500.0]), np.array([500.0]))
    assert (held.import_wh[0], held.export_wh[0]) == pytest.approx((75.0, 50.0))


def test_days_without_a_result_stay_unsure() -> None:
    energy = net_by_quarters(mean_power([100.0] * 2, [-300.0] * 2, [900.0] * 2))
    day = np.array([0, 1])
    held = held_to_days(energy, day, np.array([45.0, NAN]), np.array([20.0, NAN]))
    assert held.import_wh.tolist() == pytest.approx([45.0, 50.0])
    assert held.unsure_wh.tolist() == pytest.approx([0.0, 25.0])


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.lists(st.lists(st.integers(-3000, 3000), min_size=2, max_size=6), min_size=1, max_size=12)
)
def test_a_days_quarters_add_up_to_the_day(quarters: list[list[int]]) -> None:
    # Powers that hold for equal parts of each quarter hour: the day's sums are known exactly.
    parts = [np.array(each, dtype=np.float64) for each in quarters]

    def each(of: str) -> Floats:
        return np.array([getattr(part, of)() for part in parts])

    bought, sold = (
        sum(float(np.maximum(sign * part, 0).mean()) / 4 for part in parts) for sign in (1, -1)
    )
    energy = net_by_quarters(mean_power(each("mean"), each("min"), each("max")))
    day = np.zeros(len(parts), dtype=np.int64)
    held = held_to_days(energy, day, np.array([bought]), np.array([sold]))
    assert held.import_wh.sum() == pytest.approx(bought, abs=1e-6)
    assert held.export_wh.sum() == pytest.approx(sold, abs=1e-6)
    assert (held.import_wh >= -1e-9).all()
