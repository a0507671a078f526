import pytest

from joulebook.core.battery.deep_test_plan import CAUTIONS, steps_of, target_of
from joulebook.core.battery.rest_voltage import FULL_STATE


def test_the_target_is_that_of_the_pack() -> None:
    # By hand: 8 % is 3.175 V a cell on the generic curve, less 8 mV while discharging, 16 times;
    # from full to 8 % of 200 Ah.
    target = target_of(200.0, 16)
    assert target.low_v == pytest.approx(50.67, abs=0.01)
    assert target.expected_ah == pytest.approx((FULL_STATE - 0.08) * 200)
    assert (target.low_state, target.most_a, target.advised_a) == pytest.approx((0.08, 30.0, 40.0))


def test_the_steps_say_it_in_the_owner_s_numbers() -> None:
    told = " ".join(steps_of(target_of(200.0, 16)))
    for number in ("8%", "50.7 V", "184 Ah", "40 A", "30 A", "10 and 35 °C"):
        assert number in told


def test_the_cautions_name_what_can_go_wrong_and_who_does_what() -> None:
    told = " ".join(CAUTIONS)
    for word in (
        *("only measures", "in your own equipment", "outage", "maker", "holds its energy"),
        *("direct current", "qualified person", "locked out", "local code", "warranty"),
    ):
        assert word in told


@pytest.mark.parametrize(("rated_ah", "cells"), [(0.0, 16), (200.0, 0), (float("nan"), 16)])
def test_no_battery_no_test(rated_ah: float, cells: int) -> None:
    with pytest.raises(ValueError, match="no test of"):
        target_of(rated_ah, cells)
