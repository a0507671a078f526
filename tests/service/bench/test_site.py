import numpy as np
import pytest

from joulebook.bench.plant import STEPS_A_DAY
from joulebook.bench.site import PLACES, SERIES, Plan, first_rows, pieces, readings_in
from joulebook.core.quantities import QUANTITIES

WEEK = next(pieces(Plan(days=7)))


def test_the_site_has_20_series_that_the_house_knows() -> None:
    assert SERIES == 20
    for device, quantities in PLACES.items():
        assert quantities.keys() <= QUANTITIES[device].keys()
    assert {columns.device: list(columns.values) for columns in WEEK} == {
        device: list(quantities) for device, quantities in PLACES.items()
    }


def test_one_row_in_a_hundred_is_lost() -> None:
    # Binomial: 60 480 rows at 1 % lose 605 with a deviation of 24; five of them.
    for columns in WEEK:
        assert abs(7 * STEPS_A_DAY - columns.at_ms.size - 605) < 5 * 24
    assert readings_in(WEEK) == sum(c.at_ms.size * len(c.values) for c in WEEK)


def test_a_regular_clock_is_regular_and_a_shaken_one_is_not() -> None:
    for columns in WEEK:
        assert set((np.diff(columns.at_ms) % 10_000).tolist()) == {0}
    [shaken] = pieces(Plan(days=1, jitter_ms=20))
    for columns, regular in zip(shaken, WEEK, strict=True):
        assert np.diff(columns.at_ms).min() > 0
        phase = regular.at_ms[0] % 10_000
        off = (columns.at_ms - phase + 5000) % 10_000 - 5000
        # All but what would fall before the day: half of the first row's, at most.
        assert off.std() == pytest.approx(20, rel=0.05)


def test_readings_are_what_an_instrument_of_so_many_places_shows() -> None:
    for columns in WEEK:
        for quantity, values in columns.values.items():
            steps = values * 10.0 ** PLACES[columns.device][quantity]
            assert np.abs(steps - np.round(steps)).max() < 1e-6
            assert not np.signbit(values[values == 0]).any()


def test_counters_count_the_power_beside_them() -> None:
    for columns in WEEK:
        if columns.device == "load":
            counted = np.ptp(columns.values["energy"])
            # 10 s a row, and one row in a hundred is lost.
            summed = columns.values["power"].sum() / 360 / 0.99
            assert counted == pytest.approx(summed, rel=0.005)


def test_the_same_seed_gives_the_same_days_however_many_there_are() -> None:
    cut = first_rows(WEEK[0], 3)
    assert cut.at_ms.tolist() == WEEK[0].at_ms[:3].tolist()
    assert {values.size for values in cut.values.values()} == {3}
