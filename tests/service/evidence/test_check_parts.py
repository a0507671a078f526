"""The parts of the checker by themselves, on a pack whose days are all alike.

It is full until 16:00, drawn to 10 % until 07:00, and holds 200 Ah: see ``tests/helpers``. What
must come out is known. The checker's modules know nothing of joulebook.
"""

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.core.battery.rest_voltage import STATES, VOLTS
from joulebook.core.history import PackHistory
from joulebook.evidence import check
from tests.helpers.cycled_packs import START_MS, cycled_pack

DAY_MS, HOUR_MS = 86_400_000, 3_600_000
numbers, full, nights, capacity = (
    sys.modules[name] for name in ("check_numbers", "check_full", "check_nights", "check_capacity")
)
CURVE = {"state": np.array([0.0, 1.0]), "rest_v": np.array([3.0, 3.4])}


def report_of(**headline: Any) -> check.Report:
    report = check.Report()
    report.results = {
        "headline": headline,
        "site": {"battery_ah": 200.0, "battery_cells": 16},
        "wear": {"capacity_latest": {"method": "capacity-1"}},
    }
    return report


def pack_of(history: PackHistory, folder: Path) -> Any:
    (folder / "offset.csv").write_text("time_ms,offset_a,u_a\n0,0.0,0.01\n", encoding="utf-8")
    analysed = {
        "voltage_v": history.voltage_v,
        "current_a": history.current_a,
        "temperature_c": history.temperature_c,
    }
    return numbers.read_pack(folder, history.at_ms.astype(np.int64), analysed, report_of())


@pytest.fixture(scope="module")
def month() -> PackHistory:
    return cycled_pack(30, step_s=300)


def test_every_day_is_full_until_sixteen_hours(month: PackHistory, tmp_path: Path) -> None:
    found = full.full_charges(pack_of(month, tmp_path))
    at_ms = month.at_ms[found.last].astype(np.int64)
    assert (at_ms % DAY_MS == 16 * HOUR_MS - 300_000).all()
    assert at_ms.size == 30


def test_readings_that_are_missing_change_no_full_charge(
    month: PackHistory, tmp_path: Path
) -> None:
    volts, amps = month.voltage_v.copy(), month.current_a.copy()
    volts[100::50], amps[110::50] = np.nan, np.nan
    whole = pack_of(month, tmp_path)
    holed = pack_of(replace(month, voltage_v=volts, current_a=amps), tmp_path)
    assert (full.full_charges(holed).last == full.full_charges(whole).last).all()
    # One that is missing is no break; nothing for longer than two and a half steps is one.
    assert (whole.run[-1], holed.run[-1]) == (0, 0)
    amps[500:504] = np.nan
    broken = pack_of(replace(month, current_a=amps), tmp_path)
    assert (broken.run[499], broken.run[504] > 0) == (0, True)


@pytest.mark.parametrize(
    ("days", "volts", "held_a"),
    [
        (30, 0.9, 0.0),  # never near the charge voltage
        (4, 1.0, 0.0),  # fewer than five days
        (30, 1.0, 6.0),  # the current never dies away: full is 4 A and less
    ],
)
def test_a_battery_that_is_never_seen_full(
    days: int, volts: float, held_a: float, tmp_path: Path
) -> None:
    history = cycled_pack(days, step_s=300)
    still = np.abs(history.current_a) < 6.0
    current = np.where(still, held_a, history.current_a) if held_a else history.current_a
    other = replace(history, voltage_v=history.voltage_v * volts, current_a=current)
    assert full.full_charges(pack_of(other, tmp_path)).last.size == 0


def test_without_any_temperature_twenty_five_degrees_are_taken(
    month: PackHistory, tmp_path: Path
) -> None:
    unread = replace(month, temperature_c=np.full(month.at_ms.size, np.nan))
    assert (pack_of(unread, tmp_path).warmth == 25.0).all()


def test_two_witnesses_that_contradict_each_other_count_alike() -> None:
    # By hand: 0 and 10 ± 1 lie 7.07 of their deviations apart, so each is unsure by √(1 + 50), and
    # their mean, 5, by √51 / √2.
    value, own, shared = full.together((0.0, 1.0, 0.0), (10.0, 1.0, 0.0))
    assert (value, own, shared) == pytest.approx((5.0, 5.0498, 0.0), abs=1e-4)
    # And where they agree: the weighted mean of JCGM 100:2008, 1 and 3 with 1 and 2, is 1.4.
    assert full.together((1.0, 1.0, 0.0), (3.0, 2.0, 0.0))[0] == pytest.approx(1.4)


def test_rest_is_told_by_ten_hours_of_it(month: PackHistory, tmp_path: Path) -> None:
    # From 07:00 to 08:00 nothing flows, at 10 % full: one or two half hours of each day.
    shifted = replace(month, current_a=month.current_a + 0.05)
    pack = pack_of(shifted, tmp_path)
    last = full.full_charges(pack).last
    each = full.stretches(pack, np.column_stack([pack.at_ms[last[:-1]], pack.at_ms[last[1:]]]))
    zero_a, u = full.at_rest(pack, each, (0, 2**62))
    assert zero_a == pytest.approx(0.05, abs=1e-6)
    assert 0 <= u < 0.05
    assert full.at_rest(pack, each, (START_MS, START_MS + 5 * DAY_MS)) is None
    always_full = pack._replace(volts=np.full(pack.volts.size, 55.0))
    assert full.at_rest(always_full, each, (0, 2**62)) is None
    never_still = pack._replace(step_s=1e-3)
    assert full.at_rest(never_still, each, (0, 2**62)) is None


def test_without_rest_the_offset_is_what_does_not_close(month: PackHistory, tmp_path: Path) -> None:
    # By hand: 180 Ah go in and out each day, 0.25 % and 24 h of 10 mA should be lost: 0.69 Ah. What
    # is not is taken for the offset. At a steady 55 V that leaves 1 - 0.69 / 180.
    pack = pack_of(month, tmp_path)
    last = full.full_charges(pack).last
    steady = pack._replace(volts=np.full(pack.volts.size, 55.0))
    each = full.stretches(steady, np.column_stack([pack.at_ms[last[:-1]], pack.at_ms[last[1:]]]))
    ratio, u = full.round_trip(steady, each, np.arange(last.size - 1), (0, 2**62))
    assert ratio == pytest.approx(1 - 0.69 / 180, abs=2e-5)
    assert u > 0


def test_a_week_of_nights_tells_the_packs_capacity(tmp_path: Path) -> None:
    # 200 Ah are true. 204 Ah are held before any reading.
    pack = pack_of(cycled_pack(6, step_s=300), tmp_path)
    found = full.full_charges(pack)
    curve = {"state": STATES, "rest_v": VOLTS}
    lows, _ = nights.lowest_points(pack, found, curve)
    assert lows.surely.sum() == 5
    rows = capacity.balances(pack, found, lows, np.empty(0), 0.0, curve)
    fitted = capacity.solved(rows, np.array([0.0, pack.hours[-1] / 24]), 0.0, curve, pack.rated)
    assert capacity.capacity(fitted, curve)[0] == pytest.approx(200.0, rel=0.01)


def test_a_resistance_that_no_step_shows_is_assumed(month: PackHistory, tmp_path: Path) -> None:
    # 14 mΩ for 16 cells of 200 Ah, as docs/methods/resistance.md says.
    steady = pack_of(replace(month, current_a=np.full(month.at_ms.size, -1.0)), tmp_path)
    meter = nights.resistance(steady, 0.0)
    assert (meter.seen, meter.ohm[0]) == (False, pytest.approx(0.014))
    none = full.Fulls(np.array([10]), np.array([10]), 0.0)
    assert nights.on_the_flat(steady, none, np.array([10]), meter, CURVE, 200.0) == meter


def test_a_resistance_is_found_by_the_steps(month: PackHistory, tmp_path: Path) -> None:
    # The pack has 14 mΩ and no other polarisation.
    meter = nights.resistance(pack_of(month, tmp_path), 0.0)
    assert meter.seen
    assert meter.ohm[0] == pytest.approx(0.014, rel=0.1)


def test_with_few_closings_the_first_guess_of_the_offset_is_taken(
    month: PackHistory, tmp_path: Path
) -> None:
    pack = pack_of(month, tmp_path)
    found = full.full_charges(pack)
    few = full.Fulls(found.first[:3], found.last[:3], 0.07)
    assert nights.offsets_around(pack, few) == pytest.approx([0.07] * 3)


def test_a_night_without_a_quiet_reading_is_compared_by_its_charge(
    month: PackHistory, tmp_path: Path
) -> None:
    pack = pack_of(month, tmp_path)
    own = numbers.Lows(*([np.nan] * 13))._replace(most=150.0, surely=False)
    night = {"ah": "", "cell_v": "", "drawn_ah": "150.05"}
    assert nights.same_night(night, own, 0.0, pack, CURVE)
    assert not nights.same_night(night | {"drawn_ah": "151.00"}, own, 0.0, pack, CURVE)


def test_no_night_is_followed_where_none_is_full_or_listed(
    month: PackHistory, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "curve.csv").write_text("state,rest_v\n0,2.9\n1,3.4\n", encoding="utf-8")
    (tmp_path / "nights.csv").write_text("full\n", encoding="utf-8")
    nothing = np.empty(0, dtype=int)
    report = report_of()
    nights.check_nights(
        tmp_path, pack_of(month, tmp_path), full.Fulls(nothing, nothing, 0.0), report
    )
    said = capsys.readouterr().out
    assert "WRONG  curve" in said  # this one is a straight line
    assert "   ok  nights: 0 times full by the readings, 0 in the list; 0 differ" in said


def breaks_of_two_hours() -> tuple[Any, Any]:
    """A steady 20 A, read every 5 minutes, but for two hours in the middle."""
    at_ms = np.arange(0, 10 * HOUR_MS, 300_000)
    at_ms = at_ms[(at_ms <= 4 * HOUR_MS) | (at_ms >= 6 * HOUR_MS + 300_000)]
    return at_ms, np.full(at_ms.size, 20.0)


def test_a_break_is_filled_by_what_the_counter_rose() -> None:
    # The worked example of docs/methods/efc.md: 1059 Wh at 16 cells of 3.31 V are 20 Ah.
    at_ms, amps = breaks_of_two_hours()
    wh = np.where(at_ms > 5 * HOUR_MS, 1059.0 + 20 / 12 * 52.96, 0.0)
    volts = 16 * numbers.USUAL_V
    assert numbers.filled(at_ms, amps, (at_ms, wh), volts, 4000.0) == pytest.approx(20.0, abs=0.01)
    # A counter that began anew fills nothing, and one that says nothing neither.
    assert numbers.filled(at_ms, amps, (at_ms, -wh), volts, 4000.0) == 0.0
    assert numbers.filled(at_ms, amps, (at_ms[:5], wh[:5]), volts, 4000.0) == 0.0


def test_the_counters_own_volts_are_found_where_both_were_there() -> None:
    # 50 V: 20 A for an hour are 1000 Wh; in the break it rose by 30 Ah of them.
    at_ms, amps = breaks_of_two_hours()
    wh = (at_ms / HOUR_MS * 1000.0) - np.where(at_ms > 5 * HOUR_MS, 500.0, 0.0)
    found = numbers.filled(at_ms, amps, (at_ms, wh), 16 * numbers.USUAL_V, 50.0)
    assert found == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(("value", "good"), [(0.5, True), (0.53, True), (0.7, False)])
def test_a_break_without_a_counter_may_have_held_as_much_again(value: float, *, good: bool) -> None:
    # By hand: 8 h at 20 A were seen, 160 of 400 Ah; two hours more would be 0.1 cycles, which may
    # be none, or 0.2.
    at_ms, amps = breaks_of_two_hours()
    half = 0.0094 * value * numbers.TO_90
    stated = {"value": value, "low": value - half, "high": value + half, "coverage_ratio": 1.0}
    report = report_of(efc=stated)
    numbers.check_cycles(at_ms, amps, [], report)
    assert report.agrees is good


def flat_line(misfit: float = 0.0) -> Any:
    knots = np.array([0.0, 400.0])
    return capacity.Fitted(
        knots, np.array([200.0, 200.0]), np.eye(2), np.array([390.0]), np.array([0.1]), misfit
    )


def test_nights_that_fall_away_from_those_before_tell_a_fast_loss() -> None:
    # By hand: 200 Ah for long, 160 Ah in the last month: 20 % below, of 4 % that would be believed.
    day = np.arange(0.0, 400.0, 5.0)
    implied = np.where(day > 365, 160.0, 200.0)
    lost = capacity.lost_fast(flat_line(), day, implied)
    assert (lost.beyond, lost.ah) == pytest.approx((5.0, 160.0))
    # Where the fit is no guide, 10 % are needed against the nights before.
    assert capacity.lost_fast(flat_line(0.02), day, implied).beyond == pytest.approx(2.0)
    # Too few newest nights tell nothing.
    assert capacity.lost_fast(flat_line(), day[:5], implied[:5]).beyond == 0.0
    # Nor is a fit a guide that lies 10 % beside all calm nights.
    beside = capacity.lost_fast(flat_line(), day, implied * 1.1)
    assert beside.ah == pytest.approx(176.0)


def test_a_capacity_that_hardly_any_night_tells_is_wrong(
    month: PackHistory, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = pack_of(month, tmp_path)
    (tmp_path / "events.csv").write_text("at,kind,taken_back\n", encoding="utf-8")
    found = full.full_charges(pack)
    few = numbers.Lows(*([np.zeros(found.last.size)] * 13))._replace(
        surely=np.zeros(found.last.size, dtype=bool), lowest=found.last
    )
    for value, begins in ((200.0, "WRONG"), (None, "    -")):
        report = report_of(capacity_ah={"value": value})
        capacity.check_capacity(tmp_path, pack, found, few, few.hours, CURVE, report)
        assert capsys.readouterr().out.startswith(f"{begins}  nights: too few went low enough")
