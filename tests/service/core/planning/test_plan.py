"""A month of one repeated day: sun by day, use by night, of which the results are known by hand."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.money.bill import METER_HALF
from joulebook.core.planning.dispatch import Floats, Storage
from joulebook.core.planning.measured import Equipment, MeasuredTime
from joulebook.core.planning.outcome import MODEL_RATIO
from joulebook.core.planning.plan import LEAST_HOURS, Plan, plan_of

DAYS = 30
SMALL = Storage(usable_wh=4000.0, charge_w=1e4, discharge_w=1e4, round_trip_ratio=1.0)
NOW = Equipment(passed_ratio=1.0, storage=SMALL)


def year(*, off_wh: float = 0.0, price: float = 0.30, days: int = DAYS) -> MeasuredTime:
    """Return days of 10 kWh of sun from 6 to 16 and 6 kWh of use from 18 to 24.

    The battery of 4 kWh is empty when the sun comes, but on the first day, when it is half full:
    6 kWh a day are over (8 on the first), and 2 kWh are bought. ``off_wh`` more are bought a day
    than a battery that serves the house first would leave.
    """
    hour = np.arange(days * 96) % 96 / 4
    pv = np.where((hour >= 6) & (hour < 16), 250.0, 0.0)
    load = np.where(hour >= 18, 250.0, 0.0)
    # Full after 4 kWh, four hours on the first day of two.
    sold = np.where((hour >= 10) & (hour < 16), 250.0, 0.0)
    sold[24 + 8 : 24 + 16] = 250.0
    bought = np.where(hour >= 22, 250.0 + off_wh / 8, 0.0)
    size = hour.size
    return MeasuredTime(
        pv_wh=pv,
        load_wh=load,
        import_wh=bought,
        export_wh=sold,
        import_price=np.full(size, price),
        export_price=np.full(size, 0.10),
    )


def plan(
    time: MeasuredTime,
    changed: Equipment = NOW,
    *,
    pv_scale: float = 1.0,
    more: Floats | None = None,
) -> Plan:
    return plan_of(time, NOW, changed=changed, pv_scale=pv_scale, more_load_wh=more)


def test_nothing_changed_is_as_it_was() -> None:
    found = plan(year())
    assert found.off_ratio == pytest.approx(0.0)
    assert found.was.import_wh.value == pytest.approx(DAYS * 2000)
    assert found.was.export_wh.value == pytest.approx(DAYS * 6000 + 2000)
    assert found.change.import_wh.value == pytest.approx(DAYS * 2000)
    assert found.difference.import_wh.value == pytest.approx(0.0)
    assert found.difference.full_h.reason == "it is told for either alone"
    # Full from 10 to 18 o'clock, two hours more on the first day; empty from 22 to 6, but for
    # the first morning.
    assert found.was.full_h.value == pytest.approx(DAYS * 8 + 2, abs=DAYS * 0.5)
    assert found.was.empty_h.value == pytest.approx(DAYS * 8 - 6, abs=DAYS * 0.5)
    # Each night it gives all that it holds: 365 times in a year.
    assert found.was.cycles.value == pytest.approx(365.0)
    assert found.coverage_ratio == pytest.approx(DAYS / 365)


def test_a_larger_battery_by_hand() -> None:
    # 6 kWh last the night: nothing is bought, but on no night is more than 6 needed; it begins
    # half full with 3, so the first day stores 3 of what was sold, and each later day 6.
    larger = replace(NOW, storage=replace(SMALL, usable_wh=6000.0))
    found = plan(year(), larger)
    assert found.change.import_wh.value == pytest.approx(0.0)
    assert found.difference.import_wh.value == pytest.approx(-DAYS * 2000)
    assert found.difference.export_wh.value == pytest.approx(-DAYS * 2000 + 1000)
    # 60 kWh less bought at 0.30, 59 less sold at 0.10.
    assert found.difference.paid.value == pytest.approx(-60 * 0.30 + 59 * 0.10)


def test_no_battery_by_hand() -> None:
    found = plan(year(), Equipment(passed_ratio=1.0, storage=None))
    assert found.change.import_wh.value == pytest.approx(DAYS * 6000)
    assert found.change.export_wh.value == pytest.approx(DAYS * 10_000)
    assert found.change.cycles.reason == "there is no battery"


def test_more_panels_and_more_load_by_hand() -> None:
    # Twice the panels: 10 kWh more are sold a day. 1 kWh more at 23 o'clock is bought.
    assert plan(year(), pv_scale=2.0).difference.export_wh.value == pytest.approx(DAYS * 10_000)
    hour = np.arange(DAYS * 96) % 96 / 4
    found = plan(year(), more=np.where(hour >= 23, 250.0, 0.0))
    assert found.difference.import_wh.value == pytest.approx(DAYS * 1000)
    assert found.difference.paid.value == pytest.approx(DAYS * 0.30)


def test_what_the_simulation_misses_is_the_interval() -> None:
    # 300 Wh more are bought a day than the rule would: 5 % of the use.
    time = year(off_wh=300.0)
    larger = replace(NOW, storage=replace(SMALL, usable_wh=6000.0))
    found = plan(time, larger)
    assert found.off_ratio == pytest.approx(0.05)
    assert found.was.import_wh.value == pytest.approx(DAYS * 2300)
    assert found.was.import_wh.high == pytest.approx(DAYS * 2300 * (1 + METER_HALF))
    assert found.change.import_wh.value == pytest.approx(DAYS * 300)
    # What is missed, and a share of the 2 kWh a night that the change moves.
    more_wh = 2000 * MODEL_RATIO
    assert (found.change.import_wh.low, found.change.import_wh.high) == pytest.approx(
        (0.0, DAYS * (300 + 300 + more_wh))
    )
    assert found.difference.paid.value == pytest.approx(-60 * 0.30 + 59 * 0.10)
    assert (found.difference.paid.high or 0) - (found.difference.paid.value or 0) == pytest.approx(
        DAYS * 0.3 * 0.30 + MODEL_RATIO * (60 * 0.30 + 59 * 0.10)
    )


def test_a_simulation_that_misses_too_much_says_nothing() -> None:
    found = plan(year(off_wh=700.0))
    assert found.course is None
    assert found.change.import_wh.reason == (
        "the simulation of what is there misses what was measured by 12% of the use; "
        "10% is the most that is told"
    )


def test_the_ends_of_a_round_trip_widen_what_is_told() -> None:
    sure = replace(NOW, storage=replace(SMALL, round_trip_ratio=0.81))
    doubtful = replace(sure, round_trip=(0.64, 1.0))
    one, other = (plan(year(), each).change.import_wh for each in (sure, doubtful))
    assert one.value == other.value
    # 4 kWh give 3600 at √0.81, 3200 at √0.64 and 4000 at 1: 400 Wh a night either way. On the
    # first morning it is full in any case.
    assert (other.high or 0) - (one.high or 0) == pytest.approx(DAYS * 400)


def test_unmeasured_time_is_left_out() -> None:
    time = year()
    silent = np.arange(DAYS * 96) % 2880 < 96 * 2  # two days
    found = plan(replace(time, load_wh=np.where(silent, np.nan, time.load_wh)))
    assert found.was.import_wh.value == pytest.approx((DAYS - 2) * 2000)
    assert found.coverage_ratio == pytest.approx((DAYS - 2) / 365)


def test_too_little_time_says_nothing() -> None:
    found = plan(year(days=27))
    assert LEAST_HOURS == 28 * 24
    assert found.was.import_wh.reason == (
        "only 648 hours were measured by all meters at once; 672 are needed"
    )


def test_a_house_that_uses_nothing_is_not_told_of() -> None:
    time = year()
    nothing = np.zeros(time.load_wh.size)
    found = plan(replace(time, load_wh=nothing, import_wh=nothing))
    assert found.course is None


def test_without_a_tariff_energies_are_told_and_amounts_are_not() -> None:
    found = plan(year(price=float("nan")))
    assert found.change.import_wh.value is not None
    assert found.change.paid.reason == "no tariff holds in all of this time"


def test_a_battery_of_nothing_has_no_cycles() -> None:
    found = plan(year(), replace(NOW, storage=replace(SMALL, usable_wh=0.0)))
    assert found.change.cycles.value is None
