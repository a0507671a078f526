"""Follows every night of an evidence file from full to its lowest point: part of check.py.

Found anew are the full charges, what was drawn after each, and what a cell then rests at. Limits
stand here and not in the file.
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from check_capacity import check_capacity  # type: ignore[import-not-found]
from check_full import Fulls, gains  # type: ignore[import-not-found]
from check_numbers import (  # type: ignore[import-not-found]
    Array,
    Curve,
    Lows,
    Pack,
    instant,
    slope_at,
    table,
)

FULL, COLD, QUIET_A, QUIET_RATE, QUIET_RATE_ASSUMED = 0.999, 0.0025, 1.0, 0.15, 0.03
#: Some points of the rest voltage [V] of a cell by its state, as the method publishes it.
CURVE = ((0.02, 2.960), (0.05, 3.110), (0.10, 3.200), (0.15, 3.227))
#: How much of the charge is out, from bin to bin of the flat part of the curve.
OUT = np.array([0.08, 0.16, 0.22, 0.28, 0.44, 0.50, 0.56, 0.62, 0.68])
#: Our rest voltages may differ from those of the file by so much: each, and most. [V]
ONE_V, MOST_V = 0.005, 0.002


class Meter(NamedTuple):
    """What turns the pack's voltage into that of a cell at rest."""

    ohm: Array  # at 25 °C; per degree below 25, below 10, above 25; per year
    between: tuple[float, float]  # where that was seen [°C]
    zero_a: float  # what the current sensor reads at rest [A]
    seen: bool  # and not assumed
    now: float = 0.0
    slow: float = 0.3
    zero_v: float = 0.0

    def rested(self, pack: Pack, rows: Array) -> tuple[Array, Array, Array]:
        """Return the rest voltage of a cell, and what the present and slow current do to it."""
        ohm = np.maximum(by_warmth(pack, rows, self.between) @ self.ohm, self.ohm[0] / 10)
        flow = pack.filled[rows], faded(pack, rows, 1200.0)
        now, slow = (ohm * (each - self.zero_a) / pack.cells for each in flow)
        cell_v = pack.volts[rows] / pack.cells - (1 + self.now) * now - self.slow * slow
        return cell_v + 0.008 - self.zero_v, now, slow


def by_warmth(pack: Pack, rows: Array, between: tuple[float, float] = (-99.0, 99.0)) -> Array:
    """Return what the resistance is made of at some rows."""
    warm = np.clip(pack.warmth[rows], *between)
    bends = (np.maximum(each, 0.0) for each in (25.0 - warm, 10.0 - warm, warm - 25.0))
    return np.column_stack([np.ones(rows.size), *bends, pack.hours[rows] / 8766])


def faded(pack: Pack, rows: Array, constant_s: float) -> Array:
    """Return the mean of the current of the past, what is longer ago counting less and less."""
    decay = pack.step_s / constant_s
    weights = np.exp(-decay * np.arange(int(9 / decay) + 1))
    total = np.zeros(rows.size)
    for lag, weight in enumerate(weights):
        total += weight * pack.filled[np.maximum(rows - lag, 0)]
    return total / np.sum(weights)


def resistance(pack: Pack, zero_a: float) -> Meter:
    """Return the meter by what the voltage does when the load steps; the usual one without."""
    step_a = np.diff(pack.amps)
    flat = (pack.volts >= 3.20 * pack.cells) & (pack.volts <= 3.40 * pack.cells)
    use = (np.abs(step_a) >= min(8.0, 0.08 * pack.rated)) & flat[1:] & flat[:-1]
    rows = np.flatnonzero(use & (np.diff(pack.at_ms) <= 1500 * pack.step_s))
    rows = rows[:: max(rows.size // 20_000, 1)]
    usual = np.array([1.0, 0.010, 0.006, -0.008, 0.03])
    size, ohm = step_a[rows], np.diff(pack.volts)[rows] / step_a[rows]
    typical = float(np.median(ohm)) if rows.size >= 50 else 0.0
    if not typical > 0:
        assumed = 0.014 * pack.cells / 16 * 200 / pack.rated
        return Meter(assumed * usual, (-10.0, 40.0), zero_a, seen=False)
    design = np.column_stack(
        [by_warmth(pack, rows), (pack.amps[rows] - faded(pack, rows, 120.0)) / size]
    )
    firm = np.append(0.0, 1 / (typical * np.array([0.010, 0.012, 0.008, 0.05, 0.15])))
    wanted = np.append(typical * usual * firm[:-1], 0.0)
    value = np.append(typical, np.zeros(5))
    for _ in range(4):
        off = np.abs((ohm - design @ value) * size)
        spread = max(1.4826 * float(np.median(off)), 1e-4)
        kept = off <= 3 * spread
        weight = np.abs(size[kept]) / spread
        terms = np.vstack([design[kept] * weight[:, None], np.diag(firm)])
        value = np.linalg.lstsq(terms, np.append(ohm[kept] * weight, wanted), rcond=None)[0]
    warm = pack.warmth[rows]
    return Meter(value[:-1], (float(warm.min()), float(warm.max())), zero_a, seen=True)


def quiet_rows(pack: Pack, fulls: Fulls, rate: float) -> tuple[Array, ...]:
    """Return of each night the most that was out, and at its lowest quiet point, its row and rows.

    That is looked for within four days, before the next full charge, and before any break.
    """
    charge, flow = pack.raw - fulls.offset * pack.hours, pack.filled - fulls.offset
    quiet = (flow < QUIET_A) & (flow > -rate * pack.rated) & ~np.isnan(pack.volts)
    end = np.searchsorted(pack.hours, pack.hours[fulls.last] + 96)
    end = np.minimum(end, np.append(fulls.first[1:], charge.size))
    end = np.minimum(end, np.searchsorted(pack.run, pack.run[fulls.last], side="right"))
    most, drawn, lowest, rows = [], [], [], []
    for full, last in zip(fulls.last, end, strict=True):
        still = full + 1 + np.flatnonzero(quiet[full + 1 : last])
        least = charge[still].min(initial=np.inf)
        most.append(charge[full] - charge[full:last].min(initial=charge[full]))
        drawn.append(charge[full] - least)
        lowest.append(still[charge[still] == least][-1] if still.size else full)
        near = np.abs(pack.hours[still] - pack.hours[lowest[-1]]) <= 1.5
        rows.append(still[near & (charge[still] <= least + 0.006 * pack.rated)])
    return np.array(most), np.array(drawn), np.array(lowest, int), rows


def on_the_flat(
    pack: Pack, fulls: Fulls, lowest: Array, meter: Meter, curve: Curve, rough: float
) -> Meter:
    """Return the meter with what the flat part of the curve tells of voltmeter and slow current."""
    out = np.zeros(pack.at_ms.size)
    for full, low in zip(fulls.last, lowest, strict=True):
        between = slice(full + 1, low)
        charge = pack.raw[full] - pack.raw[between]
        out[between] = (charge - meter.zero_a * (pack.hours[full] - pack.hours[between])) / rough
    rate = (meter.zero_a - pack.filled) / pack.rated
    use = (out >= OUT[0]) & (out < OUT[-1]) & (rate >= 0.005) & (rate <= 0.2)
    use &= ~np.isnan(pack.volts)
    rows = np.flatnonzero(use)
    rows = rows[:: max(rows.size // 20_000, 1)]
    place = np.digitize(out[rows], OUT) - 1
    # Around 65 % full is a step whose place differs from pack to pack.
    use = (np.bincount(place, minlength=8)[place] >= 50) & (place != 3)
    rows, place = rows[use], place[use]
    if not rows.size:
        return meter
    bins = np.unique(place)
    cell_v, now, slow = meter.rested(pack, rows)
    above = cell_v - np.interp(1 - out[rows], curve["state"], curve["rest_v"])
    design = np.column_stack([place[:, None] == bins, now, slow])
    firm = np.append(np.zeros(bins.size), 1 / np.array([0.1 if meter.seen else 0.5, 0.3]))
    value = np.zeros(firm.size)
    for _ in range(4):
        off = above - design @ value
        spread = max(1.4826 * float(np.median(np.abs(off - np.median(off)))), 1e-4)
        weight = np.sqrt(np.minimum(1.0, 1.5 * spread / np.maximum(np.abs(off), 1e-9))) / spread
        terms = np.vstack([design * weight[:, None], np.diag(firm)])
        value = np.linalg.lstsq(terms, np.append(above * weight, 0.0 * firm), rcond=None)[0]
    # What all bins share is the voltmeter's; what the pack's own curve does reaches 10 % far.
    at = np.append(1 - (OUT[bins] + OUT[bins + 1]) / 2, 0.12)
    alike = 0.005**2 + 0.006**2 * np.exp(-np.abs(at[:, None] - at) / 0.10)
    own = alike[:-1, :-1] + 0.0015**2 * np.eye(bins.size)
    zero_v = float(alike[-1, :-1] @ np.linalg.solve(own, value[:-2]))
    return meter._replace(
        now=value[-2], slow=0.3 + value[-1], zero_v=min(max(zero_v, -0.015), 0.015)
    )


def lowest_points(pack: Pack, fulls: Fulls, curve: Curve) -> tuple[Lows, Meter]:
    """Return the lowest quiet point after each full charge, by medians of the readings near it."""
    meter = resistance(pack, fulls.offset)
    rate = QUIET_RATE if meter.seen else QUIET_RATE_ASSUMED
    most, drawn, lowest, rows = quiet_rows(pack, fulls, rate)
    sizes, near = np.array([each.size for each in rows]), np.concatenate(rows)

    def medians(values: Array) -> Array:
        parts = np.split(values, np.cumsum(sizes)[:-1])
        return np.array([np.median(each) if each.size else np.nan for each in parts])

    state = np.interp(medians(meter.rested(pack, near)[0]), curve["rest_v"], curve["state"])
    clear = (state < 0.25) & (drawn >= 0.25 * pack.rated)
    rough = np.median(drawn[clear] / (FULL - state[clear])) if clear.any() else pack.rated
    rough = float(np.clip(rough, 0.5 * pack.rated, 1.2 * pack.rated))
    meter = on_the_flat(pack, fulls, lowest, meter, curve, rough)
    cell_v, now_v, slow_v = map(medians, meter.rested(pack, near))
    hours = medians(pack.hours[near])

    def tells(slack: float) -> Array:
        enough = np.minimum(most, drawn) >= (0.25 + 0.2 * slack) * pack.rated
        low = np.interp(cell_v + slack, curve["rest_v"], curve["state"]) <= 0.18
        quiet = sizes >= max(round(180 / pack.step_s), 1)
        return enough & low & quiet & (cell_v >= 2.5 + slack)

    return Lows(
        fulls.last,
        lowest,
        most,
        pack.raw[fulls.last] - medians(pack.raw[near]),
        hours,
        np.interp(hours, pack.hours, pack.charged),
        cell_v,
        np.interp(cell_v, curve["rest_v"], curve["state"]),
        now_v,
        slow_v,
        medians(pack.warmth[near]),
        tells(ONE_V),
        tells(-ONE_V),
    ), meter


def check_nights(folder: Path, pack: Pack, fulls: Fulls, report: Any) -> None:
    """Compare the list of nights with what the readings tell, and the capacity with all of them."""
    curve = {
        name: np.array([float(row[name]) for row in table(folder / "curve.csv")])
        for name in ("state", "rest_v")
    }
    bent = max(abs(np.interp(x, curve["state"], curve["rest_v"]) - volts) for x, volts in CURVE)
    report.tell("curve: its rest voltages are the usual ones", good=bool(bent <= 0.001))
    nights = {int(instant(row["full"]) // 60_000): row for row in table(folder / "nights.csv")}
    minutes = (pack.at_ms[fulls.last] // 60_000).tolist()
    other = len(set(minutes) ^ set(nights))
    words = f"nights: {len(minutes)} times full by the readings, {len(nights)} in the list"
    report.tell(f"{words}; {other} differ", good=other <= len(minutes) // 300)
    if not minutes:
        return
    lows, meter = lowest_points(pack, fulls, curve)
    stated_v = report.results["wear"]["measured"]["voltmeter_zero_v"] or 0.0
    words = f"voltmeter: {stated_v * 1000:+.1f} mV a cell are taken off"
    good = abs(stated_v - meter.zero_v) <= MOST_V
    report.tell(f"{words}, found {meter.zero_v * 1000:+.1f}", good=good)
    offset, listed = offsets_around(pack, fulls), [nights.get(minute) for minute in minutes]
    told = [float(night["state_ratio"]) for night in listed if night and night["ah"]]
    deepest = max(0.12, float(np.quantile(told, 0.4))) if told else 0.0
    wrong, off_v = [], [0.0]
    for place, night in enumerate(listed):
        if night:
            own = Lows(*(each[place] for each in lows))
            same = same_night(night, own, float(offset[place]), pack, curve)
            if night["ah"]:
                off_v.append(own.cell_v - float(night["cell_v"]))
                state = float(night["state_ratio"])
                # It is rounded: what lies at the edge may count or not.
                same = same and (
                    abs(state - deepest) <= 2e-4 or (night["counts"] == "1") == (state < deepest)
                )
            wrong += [] if same else [night["full"]]
    report.tell(f"nights: {len(nights) - len(wrong)} of {len(nights)} as listed", good=not wrong)
    for each in wrong[:20]:
        report.tell(f"  that of {each} is another", good=False)
    middle = float(np.median(off_v))
    words = f"nights: their rest voltages are found {middle * 1000:+.1f} mV a cell higher"
    report.tell(words, good=abs(middle) <= MOST_V)
    tells = np.array([bool(night and night["ah"]) for night in listed])
    cold = np.maximum(25.0 - lows.warmth, 0.0)
    implied = lows.drawn + offset * (lows.hours - pack.hours[lows.full])
    implied /= FULL - lows.state - COLD * cold * (1 - lows.state)
    lows = lows._replace(surely=tells)
    check_capacity(folder, pack, fulls, lows, implied, curve, report)


def same_night(night: dict[str, str], own: Lows, offset: float, pack: Pack, curve: Curve) -> bool:
    """Return whether a night is as listed, but for what is rounded there."""
    near_ah = 0.02 + 0.0005 * pack.rated
    if not night["ah"]:
        same = not own.surely and abs(float(night["drawn_ah"]) - own.most) <= near_ah
        if not night["cell_v"]:
            return bool(same)
    else:
        same = own.perhaps
    cell_v, state, warmth, took = (float(night[name]) for name in OF_A_NIGHT)
    per_v = 1 / float(slope_at(curve, np.array([state]))[0])
    same &= abs(own.cell_v - cell_v) <= ONE_V and abs(own.warmth - warmth) <= 0.11
    same &= abs(np.interp(cell_v, curve["rest_v"], curve["state"]) - state) <= 1e-4 * (1 + per_v)
    same &= abs(pack.at_ms[own.lowest] - instant(night["low"])) <= 120_000
    if not night["ah"]:
        return bool(same)
    more, ah = float(night["correction_ah"]), float(night["ah"])
    share = FULL - state - COLD * max(25.0 - warmth, 0.0) * (1 - state)
    hours = own.hours - pack.hours[own.full]
    same &= abs(more - offset * hours) <= near_ah and abs(took - more - own.drawn) <= near_ah
    return bool(same and abs(took / share / ah - 1) <= 0.001)


OF_A_NIGHT = ("cell_v", "state_ratio", "temperature_c", "drawn_ah")


def offsets_around(pack: Pack, fulls: Fulls) -> Array:
    """Return what the nine closings around each full charge gain an hour. [A]"""
    gained, from_ms = gains(pack, fulls, 0.002)
    if gained.size < 5:
        return np.full(fulls.last.size, fulls.offset)
    width = min(9, gained.size)
    middle = np.median(np.lib.stride_tricks.sliding_window_view(gained, width), axis=1)
    place = np.searchsorted(from_ms, pack.at_ms[fulls.last]) - width // 2
    return middle[np.clip(place, 0, middle.size - 1)]
