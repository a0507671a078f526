"""Ages and rates of a record, by hand."""

import numpy as np
import pytest

from joulebook.core.outlook.exposure import ThermalCurve, thermal_curve
from joulebook.core.outlook.forecast_usage import UsageHistory, changed, usage_history
from joulebook.core.outlook.throughput import ThroughputCurve, throughput_curve
from tests.helpers.pack_records import DAY_MS, HOUR_MS, pack_record, without

YEAR_MS = round(365.25 * DAY_MS)
#: Two years of hours: 10 A out for five hours a day and 10 A in for five; 25 °C, then 35 °C.
HOURS = 2 * 8766
CURRENT_A = [(-10.0, 10.0, 0.0, 0.0)[hour % 24 // 5 % 4] for hour in range(HOURS)]
WARMTH_C = [25.0] * 8766 + [35.0] * 8766


def _curves(*, lost_days: int = 0) -> tuple[ThermalCurve, ThroughputCurve]:
    history = pack_record(CURRENT_A, step_s=3600, temperature_c=WARMTH_C, voltage_v=50.0)
    if lost_days:
        history = without(history, from_ms=YEAR_MS, to_ms=YEAR_MS + lost_days * DAY_MS)
    return thermal_curve(history), throughput_curve(history)


def _usage(installed_ms: int | None = None) -> UsageHistory:
    return usage_history(*_curves(), start_ms=0, end_ms=2 * YEAR_MS, installed_ms=installed_ms)


def test_ages_and_rates_are_those_of_the_last_year() -> None:
    usage = _usage()
    assert usage.record_years == pytest.approx(2.0)
    # By hand: a year at 25 °C and one at 35 °C, exp(0.55) = 1.7333 times as fast.
    assert usage.thermal_years[-1] == pytest.approx(2.7333, abs=1e-3)
    assert usage.thermal_rate == pytest.approx(1.7333, abs=1e-3)
    # From hour 20 on the pattern begins anew, so 9 hours out and 5 in each day: 140 Ah of 400.
    per_day = (9 * 10 + 5 * 10) / 400
    assert usage.efc_rate == pytest.approx(per_day * 365.25, rel=2e-3)
    assert usage.discharge_rate_wh == pytest.approx(9 * 10 * 50 * 365.25, rel=2e-3)
    thermal, efc = usage.ages_at(np.array([0.0, 1.0]))
    assert thermal.tolist() == pytest.approx([0.0, 1.0], abs=1e-3)
    assert efc[1] == pytest.approx(usage.efc_rate, rel=1e-3)
    assert usage.coverage_ratio == 1.0


def test_a_short_record_goes_on_as_it_was() -> None:
    usage = usage_history(*_curves(), start_ms=0, end_ms=YEAR_MS // 2)
    assert usage.thermal_rate == pytest.approx(1.0, abs=1e-3)
    assert usage.record_years == pytest.approx(0.5)


def test_a_battery_older_than_its_record_was_used_before() -> None:
    usage = _usage(installed_ms=-YEAR_MS)
    assert usage.before_years == pytest.approx(1.0)
    thermal, efc = usage.ages_at(np.array([0.0]))
    assert thermal[0] == pytest.approx(usage.thermal_rate)
    assert efc[0] == pytest.approx(usage.efc_rate)
    assert usage.before_wh == pytest.approx(usage.discharge_rate_wh)
    # Installed after the first reading: the bridge was tried before; the record begins it.
    assert _usage(installed_ms=DAY_MS).before_years == 0.0


def test_time_that_nothing_measured_was_like_the_rest() -> None:
    lost = usage_history(*_curves(lost_days=73), start_ms=0, end_ms=2 * YEAR_MS)
    assert lost.coverage_ratio == pytest.approx(0.9, abs=1e-3)
    assert lost.efc[-1] == pytest.approx(_usage().efc[-1], rel=2e-3)
    assert lost.discharge_wh == pytest.approx(_usage().discharge_wh, rel=2e-3)


def test_a_record_of_nothing_covers_nothing() -> None:
    history = pack_record([float("nan")] * 3, step_s=3600, temperature_c=float("nan"))
    usage = usage_history(
        thermal_curve(history), throughput_curve(history), start_ms=0, end_ms=3 * HOUR_MS
    )
    assert usage.coverage_ratio == 0.0
    assert usage.efc_rate == 0.0


def test_instants_and_years() -> None:
    usage = _usage()
    assert usage.at_ms(2.0) == 2 * YEAR_MS
    assert usage.years_at(YEAR_MS) == pytest.approx(1.0)


def test_another_future_has_the_same_past() -> None:
    usage = _usage(installed_ms=-YEAR_MS)
    other = changed(usage, cooler_c=5.0, use_ratio=0.8)
    assert other.thermal_rate == pytest.approx(0.7596 * usage.thermal_rate, rel=1e-4)
    assert other.efc_rate == pytest.approx(0.8 * usage.efc_rate)
    assert other.discharge_rate_wh == pytest.approx(0.8 * usage.discharge_rate_wh)
    now = np.array([2.0])
    assert [each.tolist() for each in other.ages_at(now)] == [
        each.tolist() for each in usage.ages_at(now)
    ]


@pytest.mark.parametrize("use_ratio", [-0.1, float("nan")])
def test_no_use_is_the_least(use_ratio: float) -> None:
    assert changed(_usage(), use_ratio=0.0).efc_rate == 0.0
    with pytest.raises(ValueError, match="share of use"):
        changed(_usage(), use_ratio=use_ratio)


def test_a_record_ends_after_it_starts() -> None:
    with pytest.raises(ValueError, match="end after it starts"):
        usage_history(*_curves(), start_ms=0, end_ms=0)
