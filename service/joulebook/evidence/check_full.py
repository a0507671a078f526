"""Finds when the battery was full, and the round trip between full charges: part of check.py.

``report`` is that of check.py.
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from check_numbers import (  # type: ignore[import-not-found]
    DAY_MS,
    HOUR_MS,
    REST_A,
    TO_90,
    Array,
    Pack,
    counted,
    table,
)

#: Full: so near to the charge voltage [V a cell], with no more than so much of the rated charge
#: per hour; died away is what is below so much of it, and 0.1 A.
NEAR_V, FULL_RATE, DONE_RATE = 0.0075, 0.02, 0.003
#: From full to full: what never comes out, of the charge; what the battery's own electronics draw
#: [A]; what a full charge lacks for a degree below 25 °C, of the rated. And how unsure each is.
LOST, HIDDEN_A, COLD = 0.0025, 0.010, 0.0015
LOST_U, HIDDEN_U, COLD_U = 0.0015, 0.017, 0.0015
BLOCK_MS = 1_800_000


class Fulls(NamedTuple):
    """Full charges: rows of the pack where the current had died away, and where each ended."""

    first: Array
    last: Array
    offset: float  # first guess of what the sensor reads at rest [A]


class Stretches(NamedTuple):
    """What went in and out from full charge to full charge; an item for each stretch."""

    from_ms: Array
    to_ms: Array
    hours: Array
    ah: tuple[Array, Array]  # in and out
    wh: tuple[Array, Array]
    vh: tuple[Array, Array]  # volts summed over the time in which it went in, and out
    open_ah: Array  # what stays in beyond what is usually lost
    colder: Array  # the second full charge than the first [°C]
    offset: Array  # that was taken off [A]


def full_charges(pack: Pack) -> Fulls:
    """Find the full charges: held at the charge voltage until hardly any current flows."""
    none = Fulls(np.empty(0, int), np.empty(0, int), 0.0)
    near = held_rows(pack)
    done_a = DONE_RATE * pack.rated + 0.1
    offset, fulls = 0.0, none
    # The sensor's offset moves what counts as no current: it is guessed, and all is done again.
    for limit_a in (FULL_RATE * pack.rated, done_a, done_a):
        flow = np.abs(pack.amps[near] - offset)
        rows, flow = near[flow <= FULL_RATE * pack.rated], flow[flow <= FULL_RATE * pack.rated]
        begins = np.flatnonzero(np.diff(rows, prepend=-2) != 1)
        lasted = np.diff(np.append(begins, rows.size))
        enough = np.repeat(lasted >= max(round(120 / pack.step_s), 1), lasted)
        rows, flow = rows[enough], flow[enough]
        if not rows.size:
            return none
        charge = pack.raw - offset * pack.hours
        fell = charge[rows] - np.minimum.reduceat(charge, rows) >= 0.03 * pack.rated
        apart = fell[:-1] | (np.diff(pack.run[rows]) > 0)
        begins = np.append(0, np.flatnonzero(apart) + 1)
        done = np.append(np.flatnonzero(flow <= limit_a), rows.size)
        first, ends = done[np.searchsorted(done, begins)], np.append(begins[1:], rows.size)
        whole = first < ends
        fulls = Fulls(rows[first[whole]], rows[ends[whole] - 1], offset)
        gained = gains(pack, fulls, 0.002)[0]
        offset = float(np.median(gained)) if gained.size >= 3 else offset
    return fulls


def held_rows(pack: Pack) -> Array:
    """Return the rows at the charge voltage, by the upper days of the twenty around each."""
    low, high = 3.37 * pack.cells, 3.80 * pack.cells
    near = (pack.volts >= low) & (pack.volts <= high) & (np.abs(pack.amps) <= 0.05 * pack.rated)
    near, day = np.flatnonzero(near), pack.at_ms // DAY_MS
    days, begins = np.unique(day[near], return_index=True)
    if not days.size:
        return near
    highest = np.maximum.reduceat(pack.volts[near], begins)
    twice = np.append(np.minimum(pack.volts, np.append(pack.volts[1:], np.nan)), np.nan)
    edges = np.column_stack([np.searchsorted(day, days), np.searchsorted(day, days, "right")])
    fell = np.nan_to_num(np.fmax.reduceat(twice, edges.ravel())[::2]) - highest
    days, highest = days[fell <= 0.015 * pack.cells], highest[fell <= 0.015 * pack.cells]
    if days.size < 5:
        return near[:0]
    width = min(21, days.size)
    around = np.lib.stride_tricks.sliding_window_view(highest, width)
    upper = np.quantile(around, 0.8, axis=1, method="lower")[:, None]
    alike = np.abs(around - upper) <= 0.015 * pack.cells
    levels = np.nanmedian(np.where(alike, around, np.nan), axis=1)
    level = levels[np.clip(np.arange(days.size) - width // 2, 0, levels.size - 1)]
    place = np.minimum(np.searchsorted(days, day[near]), days.size - 1)
    there = days[place] == day[near]
    return near[there & (pack.volts[near] >= level[place] - NEAR_V * pack.cells)]


def closings(pack: Pack, fulls: Fulls) -> Array:
    """Return which full charges are followed by another within two weeks, without a break."""
    same = np.diff(pack.run[fulls.last]) == 0
    return same & (np.diff(pack.hours[fulls.last]) <= 14 * 24)


def gains(pack: Pack, fulls: Fulls, lost: float) -> tuple[Array, Array]:
    """Return what seems to be gained an hour from full to full [A], and from when. [ms]"""
    use = closings(pack, fulls)
    hours, change, charged = (
        np.diff(each[fulls.last])[use] for each in (pack.hours, pack.raw, pack.charged)
    )
    return (change - lost * charged) / hours, pack.at_ms[fulls.last[:-1][use]]


def stretches(pack: Pack, spans: Array) -> Stretches:
    """Add up what went in and out; of currents around rest only what is left of them."""
    there = ~np.isnan(pack.volts + pack.amps)
    at_ms, pack_v = pack.at_ms[there], pack.volts[there]
    begin, end = np.minimum(np.searchsorted(at_ms, spans.T), at_ms.size - 1)
    flow = (pack.amps - pack.offset)[there]
    still = np.abs(flow) < REST_A

    def summed(values: Array) -> Array:
        total = counted(at_ms, values)
        return total[end] - total[begin]

    hours, rest = summed(np.ones(flow.size)), summed(np.where(still, flow, 0.0))
    small = np.where(still, flow, 0.0)
    sums = []
    for sign, whose in ((1.0, rest > 0), (-1.0, rest <= 0)):
        on = np.maximum(sign * (flow - small), 0.0)
        parts = ((on, sign * small), (1.0 * (on > 0), 1.0 * still))
        sums.append(
            [
                summed(amount * volts) + whose * summed(around * volts)
                for amount, around in parts
                for volts in (1.0, pack_v)
            ]
        )
    ah, wh, _, vh = zip(*sums, strict=True)
    cold = np.maximum(25.0 - pack.warmth[there], 0.0)
    colder = cold[end] - cold[begin]
    open_ah = ah[0] - ah[1] - LOST * ah[0] - HIDDEN_A * hours + COLD * pack.rated * colder
    offset = np.interp(np.mean(spans, axis=1), pack.at_ms, pack.offset)
    return Stretches(spans[:, 0], spans[:, 1], hours, ah, wh, vh, open_ah, colder, offset)


def check_round_trip(folder: Path, pack: Pack, fulls: Fulls, report: Any) -> None:
    """Compare the round trip with what went in and out from full charge to full charge."""
    stated, rows = report.results["headline"]["round_trip"], table(folder / "segments.csv")
    spans = np.array([(int(row["from_ms"]), int(row["to_ms"])) for row in rows]).reshape(-1, 2)
    ends = pack.at_ms[fulls.last[1:][closings(pack, fulls)]]
    other = np.setxor1d(ends, spans[:, 1]).size
    words = f"stretches from full to full: {ends.size} by the readings, {len(rows)} in the list"
    report.tell(f"{words}; {other} differ", good=other <= ends.size // 300)
    each = stretches(pack, spans)
    whole = np.array([row["broken"] == "0" for row in rows], dtype=bool)
    whole &= each.ah[0] >= 0.03 * pack.rated
    if whole.any():
        open_a = float(np.sum(each.open_ah[whole]) / np.sum(each.hours[whole]))
        words = f"sensor's offset: {open_a:+.3f} A are left from full to full"
        report.tell(words, good=abs(open_a) <= 0.06)
    window = stated.get("from_ms", 0), stated.get("to_ms", 0)
    use = np.flatnonzero(whole & (spans[:, 0] >= window[0]) & (spans[:, 1] <= window[1]))
    if use.size:
        rate_a = each.open_ah[use] / each.hours[use]
        off_ah = np.abs(rate_a - np.median(rate_a)) * each.hours[use]
        use = use[off_ah <= max(8.88 * float(np.median(off_ah)), 0.02 * pack.rated)]
    if use.size < 5:
        report.compare("round_trip", None, 0.0)
        return
    ratio, u = round_trip(pack, each, use, window)
    half = max(TO_90 * u, 0.003)
    reach = (0.95 * half, 1.05 * half)
    top = (0.0, 1.05 * half) if stated["high"] == 1 else ()
    report.compare("round_trip", ratio, 0.05 * half, *reach, *top)


def round_trip(
    pack: Pack, each: Stretches, use: Array, window: tuple[int, int]
) -> tuple[float, float]:
    """Return the round trip of a window, and its standard uncertainty."""
    into, out, in_vh, out_vh = (float(np.sum(a[use])) for a in (*each.wh, *each.vh))
    hours, charge = float(np.sum(each.hours[use])), float(np.sum(each.ah[0][use]))
    taken_a = float(np.average(each.offset[use], weights=each.hours[use]))
    # What charge in and out say of the sensor's offset, and what it reads at rest.
    left = each.open_ah[use] - np.sum(each.open_ah[use]) / hours * each.hours[use]
    unlike = float(np.sqrt(np.sum(left**2) * use.size / (use.size - 1)))
    zero_a = taken_a + float(np.sum(each.open_ah[use])) / hours
    own = float(np.hypot(unlike, COLD_U * pack.rated * np.sum(each.colder[use]))) / hours
    shared = float(np.hypot(LOST_U * charge, HIDDEN_U * hours)) / hours
    seen = at_rest(pack, each, window)
    if seen is not None:
        zero_a, own, shared = together((zero_a, own, shared), (*seen, 0.006))
    more = zero_a - taken_a
    into, out = into - more * in_vh, out + more * out_vh
    ratio = out / into
    per_a = (ratio * in_vh + out_vh) / into
    own = float(
        np.linalg.norm([per_a * own, ratio * unlike / charge, 0.0006 * np.sqrt(60 / use.size)])
    )
    own *= 1.5 if use.size < 15 else 1.0
    return ratio, float(np.hypot(own, per_a * shared))


def together(
    one: tuple[float, float, float], other: tuple[float, float, float]
) -> tuple[float, float, float]:
    """Return what two witnesses say of one offset: value, its own and its shared uncertainty."""
    (a, a_own, a_shared), (b, b_own, b_shared) = one, other
    apart = abs(a - b) / float(np.linalg.norm([a_own, a_shared, b_own, b_shared]))
    if apart > 2.5:  # one of them is wrong, and which one is not known
        a_own, b_own = (float(np.hypot(own, (a - b) / np.sqrt(2))) for own in (a_own, b_own))
        apart = 0.0
    weights = 1 / (a_own**2 + a_shared**2), 1 / (b_own**2 + b_shared**2)
    share, wider = weights[0] / sum(weights), max(apart / 2, 1.0)
    own, shared = (
        wider * float(np.hypot(share * x, (1 - share) * y))
        for x, y in ((a_own, b_own), (a_shared, b_shared))
    )
    return share * a + (1 - share) * b, own, shared


def at_rest(pack: Pack, each: Stretches, window: tuple[int, int]) -> tuple[float, float] | None:
    """Return what the sensor reads in half hours of rest, and how unsure that is; else nothing."""
    inside = np.zeros(pack.at_ms.size + 1)
    np.add.at(inside, np.searchsorted(pack.at_ms, each.from_ms + HOUR_MS), 1)
    np.add.at(inside, np.searchsorted(pack.at_ms, each.to_ms), -1)
    below = pack.volts < 3.37 * pack.cells
    rows = np.flatnonzero((np.cumsum(inside)[:-1] > 0) & below & ~np.isnan(pack.amps))
    block, begins, count = np.unique(
        pack.at_ms[rows] // BLOCK_MS, return_index=True, return_counts=True
    )
    if not block.size:
        return None
    usual = np.interp(block * BLOCK_MS, pack.at_ms, pack.offset)
    near = pack.amps[rows] - np.repeat(usual, count)
    mean = np.add.reduceat(near, begins) / count
    spread = np.sqrt(np.maximum(np.add.reduceat(near**2, begins) / count - mean**2, 0.0))
    whole = count >= max(4, BLOCK_MS / 2000 / pack.step_s)
    quiet = float(np.quantile(spread[whole], 0.02)) if whole.any() else 0.0
    rest = whole & (spread <= max(3 * quiet, 0.1)) & (np.abs(mean) < 0.15)
    rest &= (block * BLOCK_MS >= window[0]) & (block * BLOCK_MS < window[1])
    if rest.sum() < 20:
        return None
    steps = np.diff(np.unique(pack.amps[rows[:20_000]]))
    step_a = max(float(steps[steps > 1e-6].min(initial=0.15)), 1e-9)
    current = (mean + usual)[rest]
    zero_a = float(np.median(current))
    off = 1.4826 * 1.2533 * float(np.median(np.abs(current - zero_a))) / np.sqrt(rest.sum() / 4)
    noise = float(np.median(spread[rest])) / step_a
    stepped = step_a / np.pi * np.exp(-2 * (np.pi * noise) ** 2) / np.sqrt(2)
    return zero_a, float(np.hypot(off, stepped))
