"""How far a guided deep-discharge test is, while it runs."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from joulebook.core.battery.anchors import ASSUMED_C, Measured
from joulebook.core.battery.charge_counter import ChargeCounter, count_charge
from joulebook.core.battery.deep_test import attempts, deepest_first
from joulebook.core.battery.deep_test_plan import Target
from joulebook.core.battery.full_anchors import LEFT_SHARE
from joulebook.core.battery.low_reasons import HIGHEST_STATE
from joulebook.core.battery.resistance import PackResistance, assumed_resistance
from joulebook.core.battery.rest_voltage import rested_cell_v, slow_mean, state_at
from joulebook.core.history import Floats, PackHistory

Stage = Literal["waiting for full", "discharging", "at the bottom", "recharging", "done"]

#: Readings of the last hours are enough for the slow mean of the current. [h]
_RECENT_H = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where a test stands at the last reading.

    Attributes
    ----------
    stage : Stage
    full_ms : int or None
        From which full charge it counts. [ms, UTC epoch]
    drawn_ah : float or None
        Drawn since then, net, the sensor's zero as first guessed; ``None`` where the readings
        broke off. [Ah]
    lowest_state : float or None
        The lowest state of charge that the voltage told since then, where it tells one.
    cell_v, state : float or None
        What a cell would rest at now [V], and the state of charge that it means where it is so
        low that the voltage tells it.
    missing : tuple of str
        Sentences: what is still to be done.
    """

    stage: Stage
    full_ms: int | None
    drawn_ah: float | None
    lowest_state: float | None
    cell_v: float | None
    state: float | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Now:
    """The last reading: charge out since full [Ah], a cell's rest voltage [V], the state."""

    out_ah: float | None
    cell_v: float | None
    state: float | None


def progress_of(
    history: PackHistory, measured: Measured, target: Target, *, started_ms: int
) -> Progress:
    """Return where a test stands.

    Parameters
    ----------
    history, measured : PackHistory, Measured
        Of some weeks before the test up to now.
    target : Target
        What was planned.
    started_ms : int
        When the owner said that it began. [ms, UTC epoch]
    """
    rows = attempts(measured, started_ms, None)
    counter = count_charge(history)
    if not rows.size:
        now = _now(history, measured, counter, None)
        return _progress("waiting for full", None, now, measured, _full_missing(measured))
    best = int(deepest_first(measured, rows)[0])
    reached = not measured.reasons[best] and measured.x_low[best] <= target.low_state
    # Before it was low enough, the full charge that counts is the last one.
    row = best if reached else int(rows[-1])
    now = _now(history, measured, counter, row)
    stage, missing = _stage(measured, target, row, now, reached=reached)
    return _progress(stage, row, now, measured, missing)


def _progress(
    stage: Stage, row: int | None, now: _Now, measured: Measured, missing: tuple[str, ...]
) -> Progress:
    lowest = np.nan if row is None else float(measured.x_low[row])
    return Progress(
        stage=stage,
        full_ms=None if row is None else int(measured.full_ms[row]),
        drawn_ah=now.out_ah,
        lowest_state=lowest if lowest <= HIGHEST_STATE else None,
        cell_v=now.cell_v,
        state=now.state,
        missing=missing,
    )


def _stage(
    measured: Measured, target: Target, row: int, now: _Now, *, reached: bool
) -> tuple[Stage, tuple[str, ...]]:
    """Return the stage of a test that counts from a full charge, and what is still to be done."""
    left_ah = LEFT_SHARE * target.rated_ah
    most_out = float(measured.low.drawn_ah[row])
    rising = now.out_ah is not None and most_out - now.out_ah > left_ah
    if reached:
        if row + 1 < measured.full_ms.size:
            return "done", ()
        if rising:
            return "recharging", ("a full charge, without a gap in the readings",)
        return "at the bottom", ("put the reserve back and let it charge fully",)
    if now.out_ah is None:
        return "waiting for full", (
            "the readings broke off on the way down: begin again from a full charge",
        )
    if rising:
        return "recharging", (
            f"it was not low enough ({measured.reasons[row] or _too_high(measured, target, row)}): "
            "once it is full, the next night can be",
        )
    if measured.x_low[row] <= target.low_state or (now.state or 1.0) <= target.low_state:
        return "at the bottom", (measured.reasons[row] or "a lighter load for some minutes",)
    return "discharging", (
        f"about {max(target.expected_ah - now.out_ah, 0.0):.0f} Ah more, down to about "
        f"{target.low_v:.1f} V at a light load",
    )


def _too_high(measured: Measured, target: Target, row: int) -> str:
    return f"it came down to {measured.x_low[row]:.1%}, and below {target.low_state:.0%} is needed"


def _full_missing(measured: Measured) -> tuple[str, ...]:
    full = "a full charge: held at the charge voltage until hardly any current flows"
    return (full,) if measured.held else (full, *measured.flags)


def _now(history: PackHistory, measured: Measured, counter: ChargeCounter, row: int | None) -> _Now:
    out_ah = None
    if row is not None:
        since = int(measured.full.last[row])
        if counter.run[-1] == counter.run[since]:
            charge = counter.without_offset_ah(measured.offset_a)
            out_ah = float(charge[since] - charge[-1])
    cell_v = _rest_v(history, measured, counter)
    if cell_v is None:
        return _Now(out_ah, None, None)
    state = float(state_at(np.array(cell_v)))
    return _Now(out_ah, cell_v, state if state <= HIGHEST_STATE else None)


def _rest_v(history: PackHistory, measured: Measured, counter: ChargeCounter) -> float | None:
    """Return what a cell would rest at, by the last reading of the voltage. [V]"""
    known = np.flatnonzero(~np.isnan(history.voltage_v))
    if not known.size:
        return None
    last = int(known[-1])
    recent = counter.hours[: last + 1] >= counter.hours[last] - _RECENT_H
    current_a: Floats = counter.current_a[: last + 1][recent] - measured.offset_a
    resistance = (
        measured.resistance
        if isinstance(measured.resistance, PackResistance)
        else assumed_resistance(history.rated_ah, history.cells)
    )
    read_c = history.temperature_c[: last + 1]
    read_c = read_c[~np.isnan(read_c)]
    temperature_c = read_c[-1:] if read_c.size else np.array([ASSUMED_C])
    cell_v = rested_cell_v(
        history.voltage_v[last : last + 1],
        current_a[-1:],
        slow_mean(current_a, history.step_s)[-1:],
        resistance.at(temperature_c, history.years[last : last + 1]),
        history.cells,
    )
    return float(cell_v[0]) - (measured.zero_v or 0.0)
