"""Reads the tables of an evidence file and adds hours and charge up anew: part of check.py.

Limits stand here and not in the file: whoever widens a stated interval gains nothing. ``report`` is
that of check.py.
"""

import csv
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
REST_A, QUIET_A, TO_90 = 0.15, 1.0, 1.6448536269514722
Array = np.ndarray
Curve = dict[str, Array]
#: The battery's energy counters, in and out: instants and watt-hours; nothing where unknown.
Counters = list[tuple[Array, Array]]
USUAL_V = 3.31  # of a cell at work


class Pack(NamedTuple):
    """What was analysed, a row for each reading, NaN where one is missing."""

    at_ms: Array
    volts: Array
    amps: Array
    filled: Array  # the current without holes [A]
    warmth: Array  # without holes [°C]
    offset: Array  # what the sensor reads at rest, as the file has it [A]
    hours: Array  # since the first reading
    raw: Array  # in less out since then, as read [Ah]
    charged: Array  # in alone [Ah]
    run: Array  # how many breaks came before
    step_s: float
    rated: float  # charge [Ah]
    cells: int


class Lows(NamedTuple):
    """The lowest quiet point after each full charge, by medians of the quiet readings near it."""

    full: Array  # rows of the pack
    lowest: Array
    most: Array  # the most that was out, quiet or not [Ah]
    drawn: Array  # as read [Ah]
    hours: Array  # since the first reading
    charged: Array  # since the first reading [Ah]
    cell_v: Array  # of a cell at rest [V]
    state: Array
    now_v: Array  # what the present current does to it [V]
    slow_v: Array
    warmth: Array
    surely: Array  # whether it tells the capacity
    perhaps: Array


def read_pack(folder: Path, at_ms: Array, analysed: dict[str, Array], report: Any) -> Pack:
    """Return what was analysed, and its charge counted."""
    volts, amps, warmth = analysed.values()
    knots, zero = columns(folder / "offset.csv")
    felt, step = np.flatnonzero(~np.isnan(warmth)), float(np.median(np.diff(at_ms)))
    # Charge is counted where the current is known, and on a line over what is missing; but nothing
    # over what is missing for too long.
    when, current = known(at_ms, amps)
    sums = counted(when, current)[:-1], counted(when, np.maximum(current, 0.0))[:-1]
    place = np.searchsorted(when, at_ms[1:])
    long = np.append(True, np.append(np.diff(when) > max(600_000, 2.5 * step), True))
    raw, charged, filled = (np.interp(at_ms, when, each) for each in (*sums, current))
    return Pack(
        at_ms,
        volts,
        amps,
        filled,
        np.interp(at_ms, at_ms[felt], warmth[felt]) if felt.size else np.full(at_ms.size, 25.0),
        np.interp(at_ms, knots, zero["offset_a"]),
        (at_ms - at_ms[0]) / HOUR_MS,
        raw,
        charged,
        np.append(0, np.cumsum(long[place])),
        step / 1000,
        *(report.results["site"][name] for name in ("battery_ah", "battery_cells")),
    )


def check_sums(
    folder: Path, at_ms: Array, analysed: dict[str, Array], counters: Counters, report: Any
) -> None:
    """Add hours and charge up anew, breaks from the battery's counters where they are there."""
    _, amps, warmth = analysed.values()
    knots, zero = columns(folder / "offset.csv")
    offset = np.interp(at_ms, knots, zero["offset_a"])
    hours, charging = standing(at_ms), amps - offset > REST_A
    for name, beyond, where in (
        ("hours_above_35", warmth - 35.0, ~np.isnan(warmth)),
        ("hours_above_45", warmth - 45.0, ~np.isnan(warmth)),
        ("freezing_h", -warmth, charging),
    ):
        # The interval: where the hours fall if the thermometer is off by 0.9 °C either way.
        low, found, high = (float(np.sum(hours[where & (beyond > by)])) for by in (0.9, 0.0, -0.9))
        reach = found - low - 0.1, found - low + 0.1, high - found - 0.1, high - found + 0.1
        report.compare(name, found if np.any(~np.isnan(beyond)) else None, 0.1, *reach)
    check_cycles(*known(at_ms, amps - offset), counters, report)


def check_cycles(at_ms: Array, flow: Array, counters: Counters, report: Any) -> None:
    """Add up the current, quiet readings as the mean of their stretch within an hour."""
    hours, quiet = standing(at_ms), np.flatnonzero(np.abs(flow) < QUIET_A)
    if quiet.size:
        begins = np.append(True, (np.diff(quiet) > 1) | (np.diff(at_ms[quiet] // HOUR_MS) > 0))
        first, weight = np.flatnonzero(begins), hours[quiet]
        means = np.add.reduceat(flow[quiet] * weight, first) / np.add.reduceat(weight, first)
        means[np.abs(means) < REST_A] = 0.0
        flow[quiet] = np.repeat(means, np.diff(np.append(first, quiet.size)))
    per_ah = 1 / (2 * report.results["site"]["battery_ah"])
    seen_h, span_h = float(np.sum(hours)), (at_ms[-1] - at_ms[0]) / HOUR_MS + hours[-1]
    measured, unsure = counted(at_ms, np.abs(flow))[-1], 0.0
    stated_seen = report.results["headline"]["efc"].get("coverage_ratio") or 0.0
    filled_h, more = max(min(stated_seen * span_h, span_h) - seen_h, 0.0), 0.0
    if counters:
        ways = np.maximum(flow, 0.0), np.maximum(-flow, 0.0)
        volts = USUAL_V * report.results["site"]["battery_cells"]
        rated = report.results["site"]["battery_ah"]
        for amps, counter in zip(ways, counters, strict=True):
            more += filled(at_ms, amps, counter, volts, 20 * rated)
        unsure = 0.01 * abs(more)
    elif filled_h > 0.01:
        # No counter is in this file: a break may have held nothing, or twice as much as is usual.
        breaks_h = np.append(np.diff(at_ms), 0) / HOUR_MS - hours
        share = float(np.linalg.norm(breaks_h[breaks_h > 0.01])) / filled_h
        more = measured * filled_h / seen_h
        unsure = more * min(share, 1.0)
    cycles = (measured + more) * per_ah
    least = TO_90 * np.hypot(0.007 * cycles, 0.02 * abs(np.sum(hours * np.sign(flow))) * per_ah)
    most = TO_90 * np.hypot(0.008 * cycles, 0.1733 * seen_h * per_ah)
    within, above = 0.001 * cycles + unsure * per_ah, 2.5 * cycles * (1 - seen_h / span_h)
    report.compare("efc", cycles, within, 0.95 * least, most, 0.95 * least, most + above)


def filled(
    at_ms: Array, amps: Array, counter: tuple[Array, Array], volts: float, enough: float
) -> float:
    """Return what an energy counter says of the breaks, one way. [Ah]"""
    (when, wh), total = counter, counted(at_ms, amps)[:-1]
    step = np.median(np.diff(at_ms))
    gaps = np.flatnonzero(np.diff(at_ms) > max(600_000, 2.5 * step))
    first = np.searchsorted(when, at_ms[gaps], side="right") - 1
    last = np.searchsorted(when, at_ms[gaps + 1])
    ends = np.unique(np.column_stack([first, last])[(first >= 0) & (last < when.size)], axis=0)
    ends = ends[np.all(np.diff(wh[ends]) >= 0, axis=1)]  # else it began anew in the break
    if not ends.size:
        return 0.0
    rise = np.diff(wh[ends])[:, 0]
    beside = np.append(total, total[-1])[np.searchsorted(at_ms, when[ends])]
    beside = np.diff(beside)[:, 0]
    # Where both were there, they tell how many watt-hours of the counter an ampere-hour is.
    rose, went = np.maximum(np.diff(wh), 0.0).sum() - rise.sum(), total[-1] - beside.sum()
    if went >= enough and abs(rose / went / volts - 1) <= 0.1:
        volts = rose / went
    return float(np.sum(rise / volts - beside))


def slope_at(curve: Curve, state: Array) -> Array:
    """Return the curve's slope over two per cent of charge. [V a cell]"""
    low, high = np.clip(state - 0.01, 0.0, 0.98), np.clip(state + 0.01, 0.02, 1.0)
    low_v, high_v = (np.interp(each, curve["state"], curve["rest_v"]) for each in (low, high))
    return (high_v - low_v) / (high - low)


def shares(knots: Array, at: Array) -> Array:
    """Return what each knot contributes to straight lines between them."""
    place = np.clip(np.searchsorted(knots, at, side="right"), 1, knots.size - 1)
    share = np.clip((at - knots[place - 1]) / (knots[place] - knots[place - 1]), 0.0, 1.0)
    rows, each = np.zeros((at.size, knots.size)), np.arange(at.size)
    rows[each, place - 1], rows[each, place] = 1 - share, share
    return rows


def laid(first: float, last: float, step: float) -> Array:
    """Return knots so many days apart, the last at the end or behind it."""
    return first + step * np.arange(max(int(np.ceil((last - first) / step)), 1) + 1)


def offset_shares(edges: Array, at: Array) -> tuple[Array, list[int]]:
    """Return what each of the offset's knots contributes, and how many each piece has."""
    pieces = [laid(first, last, 91.0) for first, last in pairwise(edges)]
    which = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(pieces) - 1)
    parts = [shares(knots, at) * (which == n)[:, None] for n, knots in enumerate(pieces)]
    return np.hstack(parts), [knots.size for knots in pieces]


def table(path: Path) -> list[dict[str, str]]:
    """Return a table's rows as dictionaries of texts."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def columns(path: Path) -> tuple[Array, dict[str, Array]]:
    """Return the instants [ms] of a table of numbers, and its other columns by their names."""
    head, *lines = path.read_text(encoding="utf-8").split("\n")
    names = head.split(",")
    rows = [line.split(",") for line in lines if line]
    cells = list(zip(*rows, strict=True)) or [()] * len(names)
    if names[0] == "time":
        at_ms = np.array([text.rstrip("Z") for text in cells[0]], dtype="datetime64[ms]")
    else:
        at_ms = np.array(cells[0], dtype=np.float64)
    values = ([text or "nan" for text in column] for column in cells[1:])
    series = {
        name: np.array(each, dtype=float) for name, each in zip(names[1:], values, strict=True)
    }
    return at_ms.astype(np.int64), series


def known(at_ms: Array, values: Array) -> tuple[Array, Array]:
    """Return instants and values without those that are missing."""
    there = ~np.isnan(values)
    return at_ms[there], values[there]


def instant(text: str) -> float:
    """Return an instant that is written out. [ms]"""
    return datetime.fromisoformat(text).timestamp() * 1000


def standing(at_ms: Array) -> Array:
    """Return how long each reading stands: to the next, and one usual step before a break. [h]"""
    step = np.median(np.diff(at_ms))
    until_next = np.append(np.diff(at_ms), step).astype(float)
    broken = until_next > max(600_000, 2.5 * step)
    return np.where(broken, step, until_next) / HOUR_MS


def counted(at_ms: Array, values: Array) -> Array:
    """Return what was summed up before each reading, and in all; lost readings lie on a line."""
    hours, step = standing(at_ms), np.median(np.diff(at_ms)) / HOUR_MS
    amounts, late = values * hours, np.flatnonzero(hours > 1.01 * step)
    amounts[late] += np.diff(values)[late] / 2 * (hours[late] - step)
    return np.concatenate([[0.0], np.cumsum(amounts)])
