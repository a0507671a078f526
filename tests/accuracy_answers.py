"""What the product says of a simulated home, set beside what is true: one score a number."""

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from joulebook.core.estimate import Estimate
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from joulebook.core.outlook.forecast import WarrantyTerms
from joulebook.core.records.record import Record, analyse
from joulebook.core.records.record_inputs import NamedSpan, RecordInputs
from joulebook.core.spans import Span
from tests.helpers.homes import Home

#: When the homes' owners ask. [months from the start]
MONTHS = (6, 12, 18, 24, 36)
FLOOR_RATIO = 0.7
WARRANTY_YEARS = 10
_MONTH_MS = MS_PER_DAY * DAYS_PER_YEAR / 12
_LOW_X, _DEEP_X = 0.16, 0.08
_FEW_DAYS = 3


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What a home is like at the time of asking, by which scores are grouped.

    Attributes
    ----------
    gain_known, hidden : bool
        Whether the current sensor's scale is true; whether the battery's computer draws behind it.
    days, low_days, deep_days, full_days : int
        All days; days on which the true state of charge was below 16 %, below 8 %, and above 99 %.
    """

    home: str
    kind: str
    days: int
    reserve_ratio: float
    step_s: int
    gain_known: bool
    hidden: bool
    low_days: int
    deep_days: int
    full_days: int

    @property
    def often_deep(self) -> bool:
        """Whether the pack went below 8 % on one day in ten."""
        return self.deep_days >= 0.1 * self.days

    @property
    def never_low(self) -> bool:
        """Whether no method could have seen this pack low."""
        return self.low_days <= _FEW_DAYS

    @property
    def never_full(self) -> bool:
        """Whether no method could have seen this pack full."""
        return self.full_days <= _FEW_DAYS


@dataclass(frozen=True, kw_only=True)
class Score:
    """One number of one home: what was said, and what is true, in the number's printed unit.

    Attributes
    ----------
    measured : bool
        Whether the home's capacity was measured by then, at least as the sensor counts it.
    truth : float or None
        ``None`` where there is none: not scored then.
    value, low, high : float or None
        An interval may stand alone.
    """

    facts: Facts
    measured: bool
    number: str
    months: int
    truth: float | None
    value: float | None
    low: float | None
    high: float | None
    reason: str | None = None


def scores(home: Home, *, at_months: Sequence[int] = MONTHS) -> list[Score]:
    """Return all scores of a home, asked at each of these months that its record reaches."""
    inputs = record_inputs(home)
    end_ms = inputs.span.end_ms
    found: list[Score] = []
    for months in at_months:
        until_ms = round(home.truth.start_ms + months * _MONTH_MS)
        if until_ms > end_ms + 7 * MS_PER_DAY:
            break
        asked = inputs.until(until_ms)
        started = time.process_time()
        record = analyse(asked)
        took_s = time.process_time() - started
        facts = facts_at(home, until_ms)
        found += _scores_at(home, record, facts, months)
        found.append(
            Score(
                facts=facts, measured=True, number="seconds", months=months,
                truth=0.0, value=took_s, low=None, high=None,
            )
        )  # fmt: skip
    return found


def record_inputs(home: Home) -> RecordInputs:
    """Return what the product is given of a home."""
    charge_wh, discharge_wh = home.counters_wh
    history, start_ms = home.history, home.truth.start_ms
    return RecordInputs(
        history=history,
        powers=home.powers,
        charge_counter_wh=charge_wh,
        discharge_counter_wh=discharge_wh,
        soc_ratio=home.soc_ratio,
        soh_ratio=home.soh_ratio,
        quarters=list(_quarters(start_ms, int(history.at_ms[-1]))),
        terms=WarrantyTerms(
            end_ms=round(start_ms + WARRANTY_YEARS * DAYS_PER_YEAR * MS_PER_DAY),
            floor_ratio=FLOOR_RATIO,
        ),
        installed_ms=start_ms,
    )


def facts_at(home: Home, until_ms: int) -> Facts:
    """Return what a home was like until an instant."""
    spec, daily = home.spec, home.truth.daily
    days = int((until_ms - home.truth.start_ms) / MS_PER_DAY)
    return Facts(
        home=spec.name,
        kind=spec.kind,
        days=days,
        reserve_ratio=spec.control.reserve_ratio,
        step_s=spec.step_s,
        gain_known=spec.sensor.gain == 1.0,
        hidden=spec.pack.hidden_a > 0,
        low_days=int(np.count_nonzero(daily.lowest_x[:days] < _LOW_X)),
        deep_days=int(np.count_nonzero(daily.lowest_x[:days] < _DEEP_X)),
        full_days=int(np.count_nonzero(daily.highest_x[:days] > 0.99)),
    )


def _quarters(start_ms: int, end_ms: int) -> Iterator[NamedSpan]:
    year, quarter = datetime.fromtimestamp(start_ms / 1000, UTC).year, 0
    edge_ms = start_ms
    while edge_ms < end_ms:
        year, quarter = (year, quarter + 1) if quarter < 3 else (year + 1, 0)
        next_ms = round(datetime(year, 1 + 3 * quarter, 1, tzinfo=UTC).timestamp() * 1000)
        yield NamedSpan(f"until {year}-{1 + 3 * quarter:02}", Span(edge_ms, next_ms))
        edge_ms = next_ms


def _scores_at(home: Home, record: Record, facts: Facts, months: int) -> Iterator[Score]:
    truth, spec = home.truth, home.spec
    until_ms = record.span.end_ms
    point = record.capacity.latest
    measured = point.health.value is not None

    def score(number: str, estimate: Estimate, true: float | None, unit: float) -> Score:
        said = [
            None if each is None else each * unit
            for each in (estimate.value, estimate.low, estimate.high)
        ]
        return Score(
            facts=facts, measured=measured, number=number, months=months, reason=estimate.reason,
            truth=None if true is None else true * unit,
            value=said[0], low=said[1], high=said[2],
        )  # fmt: skip

    true_ah = truth.capacity_ah(point.at_ms)
    yield score("capacity", point.ah, true_ah, 100 / true_ah)
    # What this sensor would count of the truth: the share of the error that is not its gain.
    seen_ah = true_ah * spec.sensor.gain
    yield score("capacity, gain removed", point.sensor_ah, seen_ah, 100 / seen_ah)
    lost = record.fade
    yield score("fade", lost.per_year, truth.fade_line(lost.from_ms, lost.to_ms), 100)
    true_efc = truth.efc(until_ms) - truth.efc(record.span.start_ms)
    yield score("cycles", record.throughput.efc, true_efc, 100 / true_efc)
    seen_efc = true_efc * spec.sensor.gain
    yield score("cycles, gain removed", record.throughput.efc, seen_efc, 100 / seen_efc)
    # Powers and terms are given, so that both are there, be it to refuse.
    assert record.own_draw is not None
    assert record.forecast is not None
    yield score("idle", record.own_draw.idle_w, spec.control.idle_w, 1)
    for window, trip in record.quarters if months == _last_months(home) else ():
        start_ms, end_ms = window.span.start_ms, min(window.span.end_ms, until_ms)
        true_ratio = truth.round_trip_ratio(start_ms, end_ms)
        enough = trip.segments.used >= 30
        yield score("round trip", trip.ratio, true_ratio, 100)
        if enough:
            yield score("round trip, 30 windows", trip.ratio, true_ratio, 100)
    yield score("ten years", record.forecast.soh_at_end, truth.ten_year_of_rated, 100)
    met = float(truth.ten_year_of_rated >= FLOOR_RATIO)
    yield Score(
        facts=facts, measured=measured, number="odds", months=months, truth=met,
        value=record.forecast.probability_met, low=None, high=None,
    )  # fmt: skip


def _last_months(home: Home) -> int:
    return max((each for each in MONTHS if each <= home.spec.years * 12 + 0.3), default=0)
