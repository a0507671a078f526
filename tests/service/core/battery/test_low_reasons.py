"""Each night that tells nothing says why, in words that a person understands."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.battery.full_anchors import charge_voltage, full_charges
from joulebook.core.battery.low_anchors import (
    LowPoints,
    cell_voltmeter,
    low_points,
    search_lows,
    states_of,
)
from joulebook.core.battery.low_reasons import reasons
from joulebook.core.battery.resistance import assumed_resistance
from joulebook.core.history import Floats
from tests.helpers.cycled_packs import cycled_pack

HISTORY = cycled_pack(7)


@pytest.fixture(scope="module")
def low() -> LowPoints:
    counter = count_charge(HISTORY)
    held = charge_voltage(HISTORY)
    assert held is not None
    full = full_charges(HISTORY, counter, held)
    assumed = assumed_resistance(200.0, 16)
    meter = cell_voltmeter(HISTORY, counter, HISTORY.temperature_c, assumed, 0.0)
    return low_points(meter, counter, search_lows(meter, counter, full))


def _why(low: LowPoints, *, known_ohm: bool = True, slopes: Floats | None = None) -> str:
    """Return the reason of the third night."""
    states, own = states_of(low.cell_v)
    return reasons(HISTORY, low, states, own if slopes is None else slopes, known_ohm=known_ohm)[2]


def test_a_night_like_the_others_is_an_anchor(low: LowPoints) -> None:
    assert _why(low) == ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"most_ah": 42.0}, "only 21% of the rated charge was drawn within 4 days"),
        ({"most_ah": 42.0, "broken": True}, "break off when only 21% of the rated charge"),
        ({"quiet": 2}, "no 3 quiet minutes near the lowest point"),
        ({"drawn_ah": 49.9}, "no 3 quiet minutes near the lowest point"),
        ({"cell_v": 3.26}, "came down to 3.260 V at rest, about 22% full"),
        ({"cell_v": 2.4}, "2.40 V a cell is lower than any healthy cell shows"),
    ],
)
def test_what_is_wrong_is_said(low: LowPoints, change: dict[str, float], words: str) -> None:
    columns = {name: getattr(low, name).copy() for name in change}
    for name, value in change.items():
        columns[name][2] = value
    assert words in _why(replace(low, **columns))


def test_a_deep_night_cut_by_a_break_still_counts(low: LowPoints) -> None:
    broken = low.broken.copy()
    broken[2] = True
    assert _why(replace(low, broken=broken)) == ""


def test_a_flat_curve_tells_nothing(low: LowPoints) -> None:
    assert "hardly tells the charge" in _why(low, slopes=np.full(low.quiet.size, 0.29))


def test_how_quiet_it_has_to_be_depends_on_what_is_known(low: LowPoints) -> None:
    loud = replace(low, quiet=np.zeros_like(low.quiet))
    assert _why(loud).endswith("at less than 30 A")
    assert _why(loud, known_ohm=False).endswith("at less than 6 A")
