"""One local day of a site, from its readings to its numbers.

Method `day-1`, see ``docs/methods/day.md``; each number names the method of its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import MAX_GAP_S, Curve, clipped, mean
from joulebook.core.daily import balance, conversion, cycles
from joulebook.core.daily.efficiency import Pack, RunSums, run_sums
from joulebook.core.daily.energy import Integral, amount_estimate, integrate_curve
from joulebook.core.daily.extremes import level_numbers, temperature_numbers
from joulebook.core.daily.metered import metered_numbers
from joulebook.core.estimate import Estimate, refused
from joulebook.core.powers import DeviceArrays, SeriesSources, Source
from joulebook.core.spans import Span

METHOD = "day-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayInputs:
    """What a day is computed from.

    Attributes
    ----------
    day, span : date, Span
        The local day and its instants.
    devices : mapping of device name to DeviceArrays
        Readings of the day and, on either side, at least the nearest one within ``max_gap_s``.
    site_series : mapping of device name to a set of quantity names
        Everything the site has ever reported: it tells a silent device from one that never was.
    battery_ah, battery_cells : float and int, or None
        Rated charge of the whole battery [Ah] and its cells in series, where entered.
    max_gap_s : float
        No line bridges more, whatever the usual spacing. [s]
    """

    day: date
    span: Span
    devices: Mapping[str, DeviceArrays]
    site_series: Mapping[str, frozenset[str]]
    battery_ah: float | None = None
    battery_cells: int | None = None
    max_gap_s: float = MAX_GAP_S

    @property
    def pack(self) -> Pack | None:
        """The battery as rated, or ``None`` where the owner did not enter all of it."""
        if self.battery_ah is None or self.battery_cells is None:
            return None
        return Pack(self.battery_ah, self.battery_cells)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayResult:
    """The numbers of one local day; goes to JSON and back.

    Attributes
    ----------
    date : date
        The local date.
    hours : float
        Length of the local day; a day that is not over counts whole. [h]
    coverage_ratio : float
        Measured share of the day: that of the battery's power.
    readings : int
        How many instants of all devices fall on the day.
    numbers : dict of str to Estimate
        By the name that the contract's JSON uses, unit in the name.
    runs : RunSums or None
        What a window's round trip is made of; ``None`` without power or state of charge.
    night : NightSums or None
        What a window's conversion is made of; ``None`` where the balance lacks a device.
    soc_turns : tuple of float
        Reversals of the battery's own state of charge, for cycle depths.
    inputs : tuple of str
        Which series the numbers were made of, in words.
    method : str
        Of the day as a whole.
    """

    date: date
    hours: float
    coverage_ratio: float
    readings: int
    numbers: dict[str, Estimate]
    runs: RunSums | None = None
    night: conversion.NightSums | None = None
    soc_turns: tuple[float, ...] = ()
    inputs: tuple[str, ...] = ()
    method: str = field(default=METHOD)


def compute_day(inputs: DayInputs) -> DayResult:
    """Compute the numbers of a day.

    A device that was silent makes numbers that are refused or less covered, never smaller ones
    that look complete.
    """
    sources = SeriesSources(inputs.devices, inputs.site_series, limit_s=inputs.max_gap_s)
    powers = {kind: sources.power(kind) for kind in ("battery", "pv", "grid", "load")}
    lines = {kind: source.line for kind, source in powers.items()}
    lacking = [kind for kind in ("battery", "load") if lines[kind] is None]
    flows = None if lacking else balance.common_flows(lines, inputs.span)
    battery = _integral(powers["battery"], inputs.span)
    current = sources.battery_current()
    levels = sources.each("battery", "soc")
    numbers = {
        **_split(battery, "battery", ("battery_charge_wh", "battery_discharge_wh")),
        **_split(
            _integral(current, inputs.span),
            "battery",
            ("battery_charge_ah", "battery_discharge_ah"),
        ),
        "pv_wh": _one_way(powers["pv"], inputs.span, "pv"),
        "load_wh": _one_way(powers["load"], inputs.span, "load"),
        **_split(
            _integral(powers["grid"], inputs.span), "grid", ("grid_import_wh", "grid_export_wh")
        ),
        "loss_wh": balance.loss_wh(lines, inputs.span, flows=flows),
    }
    numbers["efc"] = _efc(numbers, inputs.battery_ah)
    numbers.update(level_numbers(levels, inputs.span))
    numbers.update(temperature_numbers(sources.each("battery", "temperature"), inputs.span))
    numbers.update(metered_numbers(sources, inputs.span))
    night, numbers["idle_w"] = _night(flows, lacking, inputs.pack)
    return DayResult(
        date=inputs.day,
        hours=inputs.span.length_s / 3600,
        coverage_ratio=0.0 if battery is None else battery.coverage_ratio,
        readings=sum(
            _count_inside(device.at_ms, inputs.span) for device in inputs.devices.values()
        ),
        numbers=numbers,
        runs=_runs(powers["battery"].line, levels, inputs.span, battery),
        night=night,
        soc_turns=_turns(levels, inputs.span),
        inputs=(*(source.words for source in powers.values()), current.words),
    )


def _integral(source: Source, span: Span) -> Integral | None:
    return None if source.line is None else integrate_curve(source.line, span)


def _split(
    seen: Integral | None, kind: str, names: tuple[str, str], *, trouble: str | None = None
) -> dict[str, Estimate]:
    """Return what went one way and what went the other."""
    parts = (
        ((None, 0.0), (None, 0.0))
        if seen is None
        else ((seen.positive, seen.positive_u), (seen.negative, seen.negative_u))
    )
    return {
        name: amount_estimate(
            amount,
            sampling_u,
            coverage_ratio=0.0 if seen is None else seen.coverage_ratio,
            reason=trouble or _why_nothing(seen, kind),
        )
        for name, (amount, sampling_u) in zip(names, parts, strict=True)
    }


def _one_way(source: Source, span: Span, kind: str) -> Estimate:
    """Return what went the only way there is; a little below zero is the meter's own noise."""
    seen = _integral(source, span)
    return _split(seen, kind, ("amount", "backwards"), trouble=source.trouble)["amount"]


def _why_nothing(seen: Integral | None, kind: str) -> str:
    if seen is None:
        return f"the site has no {kind} device"
    return f"no {kind} readings close enough together on this day"


def _efc(numbers: dict[str, Estimate], battery_ah: float | None) -> Estimate:
    charge, discharge = numbers["battery_charge_ah"], numbers["battery_discharge_ah"]
    coverage = charge.coverage_ratio
    if battery_ah is None:
        return refused(
            "the battery's rated charge was not entered",
            method=cycles.EFC_METHOD,
            coverage_ratio=coverage,
        )
    if charge.value is None:
        return refused(charge.reason or "", method=cycles.EFC_METHOD, coverage_ratio=coverage)
    value, low, high = (
        cycles.equivalent_full_cycles(into or 0.0, out or 0.0, rated_ah=battery_ah)
        for into, out in (
            (charge.value, discharge.value),
            (charge.low, discharge.low),
            (charge.high, discharge.high),
        )
    )
    return Estimate(
        value=value, low=low, high=high, coverage_ratio=coverage, method=cycles.EFC_METHOD
    )


def _runs(
    battery_w: Curve | None, levels: list[Curve], span: Span, whole: Integral | None
) -> RunSums | None:
    if battery_w is None or not levels:
        return None
    return run_sums(battery_w, mean(levels), span, whole=whole)


def _turns(levels: list[Curve], span: Span) -> tuple[float, ...]:
    if not levels:
        return ()
    values = cycles.reversals(clipped(mean(levels), span).value)
    turns = cycles.turning_points(values.tolist(), smallest=cycles.SMALLEST_TURN_RATIO)
    return tuple(round(turn, 4) for turn in turns)


def _night(
    flows: balance.Flows | None, lacking: list[str], pack: Pack | None
) -> tuple[conversion.NightSums | None, Estimate]:
    if flows is None or pack is None:
        reason = (
            f"the site has no {lacking[0]} device"
            if lacking
            else "the battery's rated charge and cells in series were not entered"
        )
        return None, refused(reason, method=conversion.IDLE_METHOD)
    night = conversion.night_readings(flows, pack)
    return (
        conversion.night_sums(flows, pack, night=night),
        conversion.idle_of_day(flows, pack, night=night),
    )


def _count_inside(at_ms: NDArray[np.int64], span: Span) -> int:
    return int(np.count_nonzero((at_ms >= span.start_ms) & (at_ms < span.end_ms)))
