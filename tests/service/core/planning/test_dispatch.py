"""Against cases by hand, and against a loop that knows nothing of arrays."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.planning.dispatch import Course, Storage, simulate

NAN = float("nan")
#: √0.81 is 0.9, so that everything can be done by hand.
SMALL = Storage(usable_wh=1000.0, charge_w=4000.0, discharge_w=4000.0, round_trip_ratio=0.81)


def course(
    pv: list[float], load: list[float], storage: Storage | None = SMALL, passed: float = 0.9
) -> Course:
    return simulate(np.array(pv), np.array(load), passed_ratio=passed, storage=storage)


def test_the_worked_example() -> None:
    # docs/methods/planning.md. Begins with 500 Wh; 1000 - 450/0.9 = 500 spare: 450 stored. Then
    # room for 50/0.9 = 55.6 of 500 spare: (500 - 55.6) · 0.9 sold. Then 990/0.9 = 1100 missing:
    # 1000 · 0.9 from the battery, (1100 - 900) · 0.9 bought.
    found = course([1000.0, 1000.0, 0.0], [450.0, 450.0, 990.0])
    assert found.stored_wh.tolist() == pytest.approx([950.0, 1000.0, 0.0])
    assert found.charge_wh.tolist() == pytest.approx([500.0, 50 / 0.9, 0.0])
    assert found.discharge_wh.tolist() == pytest.approx([0.0, 0.0, 900.0])
    assert found.export_wh.tolist() == pytest.approx([0.0, 400.0, 0.0])
    assert found.import_wh.tolist() == pytest.approx([0.0, 0.0, 180.0])


def test_limits_of_power_by_hand() -> None:
    # 400 W are 100 Wh a quarter hour, at the battery's terminals: 90 stored; 100 given are 111.
    slow = Storage(usable_wh=1000.0, charge_w=400.0, discharge_w=400.0, round_trip_ratio=0.81)
    found = course([1000.0, 0.0], [0.0, 900.0], slow)
    assert found.charge_wh[0] == pytest.approx(100.0)
    assert found.export_wh[0] == pytest.approx(810.0)
    assert found.discharge_wh[1] == pytest.approx(100.0)
    assert found.import_wh[1] == pytest.approx(810.0)
    assert found.stored_wh.tolist() == pytest.approx([590.0, 590.0 - 100 / 0.9])


def test_without_a_battery_all_is_bought_and_sold_as_it_comes() -> None:
    found = course([1000.0, 0.0], [450.0, 450.0], None)
    assert found.export_wh.tolist() == pytest.approx([450.0, 0.0])
    assert found.import_wh.tolist() == pytest.approx([0.0, 450.0])
    assert found.charge_wh.tolist() == [0.0, 0.0]


def test_where_nothing_was_measured_the_battery_rests() -> None:
    found = course([1000.0, NAN, 0.0], [450.0, 450.0, NAN])
    assert found.stored_wh[0] == pytest.approx(950.0)
    for each in (found.import_wh, found.export_wh, found.charge_wh, found.stored_wh):
        assert np.isnan(each[1:]).all()
    # A quarter hour that is known again goes on from what was held.
    again = course([1000.0, NAN, 0.0], [450.0, 450.0, 90.0])
    assert again.stored_wh[2] == pytest.approx(950.0 - 100 / 0.9)


def test_a_battery_of_nothing_is_none() -> None:
    nothing = Storage(usable_wh=0.0, charge_w=400.0, discharge_w=400.0, round_trip_ratio=0.9)
    pv, load = [1000.0, 0.0], [450.0, 450.0]
    assert course(pv, load, nothing).import_wh.tolist() == course(pv, load, None).import_wh.tolist()


@pytest.mark.parametrize(
    ("passed", "storage", "complaint"),
    [
        (0.0, None, "cannot pass on 0.0"),
        (1.1, None, "cannot pass on 1.1"),
        (0.9, Storage(usable_wh=1, charge_w=1, discharge_w=1, round_trip_ratio=0), "give back 0"),
        (0.9, Storage(usable_wh=1, charge_w=-1, discharge_w=1, round_trip_ratio=1), "nothing"),
    ],
)
def test_what_makes_no_sense(passed: float, storage: Storage | None, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        course([1.0], [1.0], storage, passed)


def test_shapes_must_agree() -> None:
    with pytest.raises(ValueError, match="of panels"):
        course([1.0, 2.0], [1.0])


def _loop(
    pv: list[int], load: list[int], way: Fraction, passed: Fraction, most: int, limit: int
) -> list[tuple[Fraction, Fraction, Fraction]]:
    """Return what is bought, sold and held, one step after another, in exact fractions."""
    held, steps = Fraction(most, 2), []
    for sun, use in zip(pv, load, strict=True):
        bought = sold = Fraction(0)
        wanted = Fraction(use) / passed
        if sun >= wanted:
            over = sun - wanted
            taken = over
            if taken > Fraction(limit, 4):
                taken = Fraction(limit, 4)
            if held + taken * way > most:
                taken = (most - held) / way
            held += taken * way
            sold = (over - taken) * passed
        else:
            short = wanted - sun
            given = short
            if given > Fraction(limit, 4):
                given = Fraction(limit, 4)
            if given / way > held:
                given = held * way
            held -= given / way
            bought = (short - given) * passed
        steps.append((bought, sold, held))
    return steps


@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 1500)), min_size=1, max_size=60),
    st.sampled_from([Fraction(9, 10), Fraction(19, 20), Fraction(1)]),
    st.sampled_from([Fraction(9, 10), Fraction(1), Fraction(1, 2)]),
    st.integers(0, 6000),
    st.integers(0, 8000),
)
def test_it_is_the_loop(
    energies: list[tuple[int, int]], way: Fraction, passed: Fraction, most: int, limit: int
) -> None:
    pv, load = ([pair[side] for pair in energies] for side in (0, 1))
    storage = Storage(
        usable_wh=float(most),
        charge_w=float(limit),
        discharge_w=float(limit),
        round_trip_ratio=float(way * way),
    )
    found = course([*map(float, pv)], [*map(float, load)], storage, float(passed))
    expected = _loop(pv, load, way, passed, most, limit)
    got = zip(found.import_wh, found.export_wh, found.stored_wh, strict=True)
    for ours, theirs in zip(got, expected, strict=True):
        assert ours == pytest.approx([float(each) for each in theirs], abs=1e-6)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.floats(0, 1500), st.floats(0, 1500)), min_size=1, max_size=40),
    st.floats(0.5, 1.0),
    st.floats(0.5, 1.0),
)
def test_no_energy_is_made_or_lost_but_in_conversion(
    energies: list[tuple[float, float]], round_trip: float, passed: float
) -> None:
    storage = Storage(
        usable_wh=3000.0, charge_w=2000.0, discharge_w=1500.0, round_trip_ratio=round_trip
    )
    pv, load = ([pair[side] for pair in energies] for side in (0, 1))
    found = course(pv, load, storage, passed)
    # On the DC side: panels, battery and what is bought make the load and what is sold.
    left = np.array(pv) + found.discharge_wh + found.import_wh / passed
    right = np.array(load) / passed + found.charge_wh + found.export_wh / passed
    assert left.tolist() == pytest.approx(right.tolist(), abs=1e-6)
    # And the battery holds what went in, less what came out, each with its half of the loss.
    way = math.sqrt(round_trip)
    held = 1500.0 + found.charge_wh.sum() * way - found.discharge_wh.sum() / way
    assert held == pytest.approx(found.stored_wh[-1], abs=1e-6)
