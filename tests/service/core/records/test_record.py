"""A whole record against a pack of known truth: the parts are tested where they stand."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.records.record import Record, analyse
from joulebook.core.records.record_inputs import NamedSpan, RecordEvent, RecordInputs, unmixed
from joulebook.core.spans import Span
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS, IDLE_W, cycled_inputs

#: The true pack loses this much of its first capacity a year.
FADE = 0.03


@pytest.fixture(scope="module")
def inputs() -> RecordInputs:
    return cycled_inputs(450, fade_per_year=FADE, offset_a=0.2)


@pytest.fixture(scope="module")
def record(inputs: RecordInputs) -> Record:
    return analyse(inputs)


def test_capacity_holds_the_truth_and_the_sensors_offset_is_found(record: Record) -> None:
    latest = record.capacity.latest
    true_ah = 200.0 * (1 - FADE * 420 / 365.25)
    assert latest.ah.low is not None
    assert latest.ah.high is not None
    assert latest.ah.low < true_ah < latest.ah.high
    assert latest.sensor_ah.value == pytest.approx(true_ah, rel=0.01)
    assert record.offset.at(np.array([START_MS + 200 * DAY_MS]))[0] == pytest.approx(0.2, abs=0.03)


def test_fade_holds_the_truth(record: Record) -> None:
    found = record.fade.per_year
    assert found.value is not None
    assert found.low is not None
    assert found.high is not None
    assert found.low < FADE < found.high


def test_round_trip_is_that_of_the_terminals(record: Record, inputs: RecordInputs) -> None:
    # The same sums over whole days by hand, with the offset that the helper added taken off.
    history = inputs.history
    power = history.voltage_v * (history.current_a - 0.2)
    days = slice(12 * 12, 12 * 12 + 288 * 80)  # from one noon to another, within the first window
    whole = power[days]
    true = -whole[whole < 0].sum() / whole[whole > 0].sum()
    _, first = record.quarters[0]
    assert first.ratio.value == pytest.approx(true, abs=0.003)
    assert [window.name for window, _ in record.quarters] == [f"part {n}" for n in range(5)]


def test_what_the_inverter_takes_is_found(record: Record) -> None:
    assert record.own_draw is not None
    assert record.own_draw.idle_w.value == pytest.approx(IDLE_W, abs=3.0)


def test_cycles_leave_the_offset_out(record: Record, inputs: RecordInputs) -> None:
    true_a = inputs.history.current_a - 0.2
    efc = np.abs(true_a).sum() * 300 / 3600 / 400
    assert record.throughput.efc.value == pytest.approx(efc, rel=0.005)


def test_the_forecast_is_made_for_the_end_of_the_warranty(record: Record) -> None:
    assert record.forecast is not None
    assert record.forecast.soh_at_end.value is not None
    assert [(each.cooler_c, each.use_ratio) for each in record.what_if] == [
        (5.0, 1.0),
        (-5.0, 1.0),
        (0.0, 0.75),
    ]
    middle = record.forecast.soh_at_end.value
    cooler, warmer, less = (each.forecast.soh_at_end.value or 0.0 for each in record.what_if)
    assert warmer < middle < cooler
    assert middle <= less


def test_what_was_known_earlier_is_told_as_it_was_then(inputs: RecordInputs) -> None:
    early = inputs.until(START_MS + 100 * DAY_MS)
    assert early.span.end_ms <= START_MS + 100 * DAY_MS
    assert early.powers is not None
    assert early.powers.load_w.size == early.history.at_ms.size
    assert [each.name for each in early.quarters] == ["part 0", "part 1"]
    found = analyse(early)
    assert found.fade.per_year.value is None
    assert found.fade.per_year.reason
    bare = replace(inputs, powers=None).until(START_MS + 100 * DAY_MS)
    assert bare.powers is None


def test_a_battery_alone_has_no_own_draw_and_no_terms_no_forecast() -> None:
    inputs = replace(cycled_inputs(4), powers=None, terms=None)
    found = analyse(inputs)
    assert found.own_draw is None
    assert found.forecast is None
    assert found.what_if == ()
    assert found.capacity.latest.ah.value is None
    assert found.claims.soh_ratio is None


def test_a_record_of_two_hours_refuses_number_by_number(inputs: RecordInputs) -> None:
    found = analyse(inputs.until(START_MS + 2 * 3_600_000))
    assert found.energy.wh.value is None
    assert found.throughput.efc.value is not None
    assert found.quarters[0][1].ratio.value is None


def test_claims_are_set_beside_what_was_measured() -> None:
    inputs = cycled_inputs(120)
    size = inputs.history.at_ms.size
    claiming = replace(
        inputs, soc_ratio=np.full(size, 0.30), soh_ratio=np.linspace(1.0, 0.98, size)
    )
    found = analyse(claiming).claims
    assert (found.soh_first_ratio, found.soh_ratio) == (1.0, 0.98)
    # The pack holds all of its 200 Ah; it says 0.98 of it.
    assert found.soh_less_ours == pytest.approx(-0.02, abs=0.012)
    assert found.soc_at_low_ratio == pytest.approx(0.30)
    assert found.soc_less_ours == pytest.approx(0.30 - 0.10, abs=0.02)  # truly at 10 %
    assert found.lows > 60
    silent = replace(inputs, soh_ratio=np.full(size, np.nan), soc_ratio=None)
    assert analyse(silent).claims.soh_ratio is None


def test_counters_and_the_cells_spread_take_part() -> None:
    inputs = cycled_inputs(60)
    size = inputs.history.at_ms.size
    counter = np.linspace(0, 4e5, size)
    wide = replace(
        inputs,
        charge_counter_wh=counter,
        discharge_counter_wh=counter,
        spread_v=np.full(size, 0.06),
    )
    cautions = analyse(wide).capacity.cautions
    assert any("60 mV" in sentence for sentence in cautions)
    unknown = replace(wide, spread_v=np.full(size, np.nan))
    assert not any("mV" in sentence for sentence in analyse(unknown).capacity.cautions)


def test_counters_are_set_beside_the_newest_quarter() -> None:
    inputs = cycled_inputs(120)
    history = inputs.history
    wh = history.voltage_v * history.current_a * 300 / 3600
    charge, discharge = (np.cumsum(np.maximum(each, 0.0)) for each in (wh, -wh))
    found = analyse(
        replace(inputs, charge_counter_wh=charge, discharge_counter_wh=discharge)
    ).counters
    assert found is not None
    assert not found.alarm
    assert found.counted_ratio == pytest.approx(found.discharge_wh / found.charge_wh, abs=0.003)
    # A sensor that the counters do not share: half an ampere too much is told.
    more = np.cumsum(np.maximum(wh + 25 * 300 / 3600, 0.0))
    alarmed = analyse(replace(inputs, charge_counter_wh=more, discharge_counter_wh=discharge))
    assert alarmed.counters is not None
    assert alarmed.counters.alarm
    assert alarmed.counters.offset_a > 0.1


def test_an_event_splits_what_came_before_from_what_came_after() -> None:
    at_ms = START_MS + 60 * DAY_MS
    event = RecordEvent(at_ms=at_ms, kind="firmware", title="new firmware")
    inputs = cycled_inputs(120, events=[event])
    found = analyse(inputs)
    assert [window.name for window, _ in found.quarters] == [
        "part 0 part 1",
        "part 0 part 2",
        "part 1",
    ]
    ((told, numbers),) = found.changes
    assert told == event
    assert set(numbers) == {"round_trip", "idle_w", "loss_w"}
    # Nothing was changed in truth.
    assert numbers["round_trip"].verdict == "no measurable change"
    alone = analyse(replace(inputs, powers=None))
    assert set(alone.changes[0][1]) == {"round_trip"}
    late = replace(event, at_ms=at_ms + 400 * DAY_MS)
    assert analyse(replace(inputs, events=[late])).changes == ()


def test_windows_are_cut_once_for_events_of_one_instant() -> None:
    window = NamedSpan("Q", Span(0, 100))
    events = [RecordEvent(at_ms=40, kind="other", title=word) for word in ("a", "b")]
    assert unmixed([window], events) == [
        NamedSpan("Q part 1", Span(0, 40)),
        NamedSpan("Q part 2", Span(40, 100)),
    ]
    assert unmixed([window], [RecordEvent(at_ms=0, kind="other", title="a")]) == [window]


def test_one_reading_is_no_record() -> None:
    history = cycled_inputs(1).history
    with pytest.raises(ValueError, match="two readings"):
        RecordInputs(history=replace(history, at_ms=history.at_ms[:1]))
