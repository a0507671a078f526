"""Everything that a whole record tells of a battery, in one pure call.

Each number names the method of its own; see ``docs/methods/record.md`` for the order.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.anchors import Measured, measure
from joulebook.core.battery.capacity import CapacityStatement, capacity_statement
from joulebook.core.battery.capacity_fit import CapacityFit, fit_capacity
from joulebook.core.battery.fade import Fade, fade
from joulebook.core.battery.fast_loss import fast_loss, may_be_told, told_by_nights
from joulebook.core.battery.nights import NightList, night_list
from joulebook.core.battery.pack_energy import PackEnergy, pack_energy
from joulebook.core.battery.resistance import PackResistance
from joulebook.core.battery.sensor_zero import sensor_offset
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from joulebook.core.losses.comparison import Comparison
from joulebook.core.losses.counter_check import CounterCheck, counter_check
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset, segment_sums
from joulebook.core.losses.full_windows import FullRoundTrip, round_trip_in
from joulebook.core.losses.idle_draw import OwnDraw, own_draw
from joulebook.core.losses.window_zero import rested_offset
from joulebook.core.outlook.counter_fill import EnergyCounters
from joulebook.core.outlook.exposure import Exposure, exposure, thermal_curve
from joulebook.core.outlook.forecast import Forecast, forecast
from joulebook.core.outlook.forecast_evidence import FadeEvidence
from joulebook.core.outlook.forecast_usage import UsageHistory, changed, usage_history
from joulebook.core.outlook.throughput import (
    Throughput,
    ThroughputCurve,
    throughput,
    throughput_curve,
)
from joulebook.core.records.claims import Claims, claims_of
from joulebook.core.records.record_changes import changes_of
from joulebook.core.records.record_inputs import (
    MOVES_SENSOR,
    NEW_BATTERY,
    NamedSpan,
    RecordEvent,
    RecordInputs,
    unmixed,
)
from joulebook.core.spans import Span

RECORD_METHOD = "record-1"

#: Idle draw and losses are those of the newest readings, so many days of them (our choice).
OWN_DRAW_DAYS = 92.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The forecast under another future: how much cooler [°C], and what share of today's use."""

    cooler_c: float
    use_ratio: float
    forecast: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a record tells; windows never mix what came before an event with what came after."""

    span: Span
    events: tuple[RecordEvent, ...]
    measured: Measured
    fit: CapacityFit
    offset: SensorOffset
    capacity: CapacityStatement
    energy: PackEnergy
    fade: Fade
    nights: NightList
    segments: SegmentSums
    quarters: tuple[tuple[NamedSpan, FullRoundTrip], ...]
    counters: CounterCheck | None
    own_draw: OwnDraw | None
    through: ThroughputCurve
    throughput: Throughput
    exposure: Exposure
    usage: UsageHistory
    forecast: Forecast | None
    what_if: tuple[WhatIf, ...]
    changes: tuple[tuple[RecordEvent, dict[str, Comparison]], ...]
    claims: Claims


def analyse(inputs: RecordInputs) -> Record:
    """Measure a record: capacity, fade, efficiency, losses, throughput, exposure and forecast.

    Refuses number by number, and never as a whole.
    """
    history, span = inputs.history, inputs.span
    measured = measure(history)
    fit = fit_capacity(
        measured.balances,
        offset_steps_ms=[each.at_ms for each in inputs.events if each.kind in MOVES_SENSOR],
        new_battery_ms=[each.at_ms for each in inputs.events if each.kind in NEW_BATTERY],
    )
    shift_v = measured.evidence.shift_v
    nights = night_list(measured)
    capacity = capacity_statement(fit, shift_v=shift_v, spread_v=_spread(inputs, measured))
    changed_ms = max(
        (each.at_ms for each in inputs.events if each.kind in MOVES_SENSOR | NEW_BATTERY),
        default=None,
    )
    loss = None
    if may_be_told(fit, capacity):
        loss = fast_loss(fit, nights, since_ms=changed_ms)
    if loss is not None:
        capacity = told_by_nights(capacity, loss)
    why_not = None if loss is None else loss.reason
    closings = measured.balances.full_to_full
    by_fit = sensor_offset(fit)
    offset = rested_offset(
        segment_sums(history, closings, by_fit),
        by_fit,
        rated_ah=history.rated_ah,
        steps_ms=[each.at_ms for each in inputs.events if each.kind in MOVES_SENSOR],
    )
    through = throughput_curve(
        history,
        offset_at=offset.at if fit.closings > 0 else None,
        counters=_counters(inputs),
    )
    usage = usage_history(
        thermal_curve(history),
        through,
        start_ms=span.start_ms,
        end_ms=span.end_ms,
        installed_ms=inputs.installed_ms,
    )
    segments = segment_sums(history, closings, offset)
    quarters = tuple(
        (each, round_trip_in(segments, each.span, offset=offset, rated_ah=history.rated_ah))
        for each in unmixed(inputs.quarters, inputs.events)
    )
    evidence = _evidence(fit, capacity)
    return Record(
        span=span,
        events=tuple(inputs.events),
        measured=measured,
        fit=fit,
        offset=offset,
        capacity=capacity,
        energy=pack_energy(
            fit,
            capacity.latest,
            measured.balances,
            resistance_ohm=_resistance(measured, fit),
            why_not=why_not,
        ),
        fade=fade(fit, shift_v=shift_v, why_not=why_not),
        nights=nights,
        segments=segments,
        quarters=quarters,
        counters=_counters_checked(inputs, [trip for _, trip in quarters], segments),
        own_draw=_own_draw(inputs, offset),
        through=through,
        throughput=throughput(through),
        exposure=exposure(history, span, offset_at=offset.at),
        usage=usage,
        forecast=None
        if inputs.terms is None
        else forecast(usage, inputs.terms, evidence, why_not=why_not),
        what_if=_what_if(inputs, usage, evidence, why_not),
        changes=changes_of(inputs, segments, offset),
        claims=claims_of(inputs, measured, capacity),
    )


def _counters(inputs: RecordInputs) -> EnergyCounters | None:
    charge, discharge = inputs.charge_counter_wh, inputs.discharge_counter_wh
    if charge is None or discharge is None:
        return None
    return EnergyCounters(at_ms=inputs.history.at_ms, charge_wh=charge, discharge_wh=discharge)


def _counters_checked(
    inputs: RecordInputs, trips: list[FullRoundTrip], segments: SegmentSums
) -> CounterCheck | None:
    """Return what the battery's own counters say of the newest quarter that has a round trip."""
    known = _counters(inputs)
    given = [trip for trip in trips if trip.ratio.value is not None]
    if known is None or not given:
        return None
    return counter_check(given[-1], segments, known)


def _spread(inputs: RecordInputs, measured: Measured) -> float | None:
    """Return how far the cells are apart at the low anchors and at the ends of charge. [V]"""
    if inputs.spread_v is None:
        return None
    ends = np.concatenate([measured.full_ms, measured.balances.full_to_low.low_ms])
    rows = np.minimum(np.searchsorted(inputs.history.at_ms, ends), inputs.spread_v.size - 1)
    known = inputs.spread_v[rows]
    known = known[~np.isnan(known)]
    return float(np.median(known)) if known.size else None


def _evidence(fit: CapacityFit, capacity: CapacityStatement) -> FadeEvidence | None:
    """Return what the forecast may rest on: nothing where not even a change is stated."""
    if capacity.latest.health.value is None:
        return None
    return FadeEvidence(
        years=(fit.knots_ms - fit.start_ms) / (DAYS_PER_YEAR * MS_PER_DAY),
        information=fit.data_information,
        vector=fit.data_vector,
        rated_ah=fit.unknowns.rated_ah,
    )


def _resistance(measured: Measured, fit: CapacityFit) -> float | None:
    if not isinstance(measured.resistance, PackResistance):
        return None
    years = (fit.end_ms - fit.start_ms) / (DAYS_PER_YEAR * MS_PER_DAY)
    return float(measured.resistance.at(np.array([25.0]), np.array([years]))[0])


def _own_draw(inputs: RecordInputs, offset: SensorOffset) -> OwnDraw | None:
    if inputs.powers is None:
        return None
    span = inputs.span
    newest = max(
        [span.start_ms, span.end_ms - round(OWN_DRAW_DAYS * MS_PER_DAY)]
        + [each for each in (inputs.own_draw_from_ms,) if each is not None and each < span.end_ms]
        + [each.at_ms for each in inputs.events if each.at_ms < span.end_ms]
    )
    return own_draw(inputs.history, inputs.powers, Span(newest, span.end_ms), offset=offset)


def _what_if(
    inputs: RecordInputs,
    usage: UsageHistory,
    evidence: FadeEvidence | None,
    why_not: str | None,
) -> tuple[WhatIf, ...]:
    if inputs.terms is None:
        return ()
    return tuple(
        WhatIf(
            cooler_c=cooler_c,
            use_ratio=use_ratio,
            forecast=forecast(
                changed(usage, cooler_c=cooler_c, use_ratio=use_ratio),
                inputs.terms,
                evidence,
                why_not=why_not,
            ),
        )
        for cooler_c, use_ratio in ((5.0, 1.0), (-5.0, 1.0), (0.0, 0.75))
    )
