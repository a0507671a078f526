"""Works the headline numbers of an evidence file out anew: the part of check.py that calculates.

Each is found by a shorter way than the one that made it, and compared within limits that stand here
and not in the file: whoever widens a stated interval gains nothing. ``report`` is that of check.py.
"""

import csv
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

HOUR_MS, DAY_MS, YEAR_MS = 3_600_000, 86_400_000, 31_557_600_000
REST_A, QUIET_A, FULL, LOST, COLD, TO_90 = 0.15, 1.0, 0.999, 0.0025, 0.0025, 1.645
#: Some points of the rest voltage [V] of a cell by its state, as the method publishes it.
CURVE = ((0.02, 2.960), (0.05, 3.110), (0.10, 3.200), (0.15, 3.227))
Array = np.ndarray


class Pack(NamedTuple):
    """Where voltage and current are known: instants, both, and what the sensor reads at rest."""

    at_ms: Array
    volts: Array
    amps: Array
    offset: Array


def check_numbers(folder: Path, report: Any) -> None:
    """Work the headline numbers out from what was analysed."""
    at_ms, analysed = columns(folder / "analysed.csv")
    volts, amps, warmth = analysed.values()
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
    check_cycles(*known(at_ms, amps - offset), report)
    there = ~np.isnan(volts + amps)
    pack = Pack(at_ms[there], volts[there], amps[there], offset[there])
    check_round_trip(folder, pack, report)
    check_nights(folder, pack, report)


def check_cycles(at_ms: Array, flow: Array, report: Any) -> None:
    """Add up the current, quiet readings as the mean of their stretch within an hour."""
    hours, quiet = standing(at_ms), np.flatnonzero(np.abs(flow) < QUIET_A)
    if quiet.size:
        begins = np.append(True, (np.diff(quiet) > 1) | (np.diff(at_ms[quiet] // HOUR_MS) > 0))
        first, weight = np.flatnonzero(begins), hours[quiet]
        means = np.add.reduceat(flow[quiet] * weight, first) / np.add.reduceat(weight, first)
        means[np.abs(means) < REST_A] = 0.0
        flow[quiet] = np.repeat(means, np.diff(np.append(first, quiet.size)))
    per_ah = 1 / (2 * report.results["site"]["battery_ah"])
    # Breaks that the battery's counters filled are in the number; we take them to be like the rest.
    span_h = (at_ms[-1] - at_ms[0]) / HOUR_MS + hours[-1]
    seen = np.sum(hours) / span_h
    unlike = (1 - seen) * min(1.0, 7.4 / np.sqrt(max((1 - seen) * span_h, 1.0)))  # 1.5 of a day
    stated_seen = report.results["headline"]["efc"].get("coverage_ratio") or 0.0
    cycles = counted(at_ms, np.abs(flow))[-1] * per_ah * min(max(stated_seen / seen, 1.0), 1 / seen)
    least = TO_90 * np.hypot(0.007 * cycles, 0.02 * abs(np.sum(hours * np.sign(flow))) * per_ah)
    most = TO_90 * np.hypot(0.008 * cycles, 0.1733 * np.sum(hours) * per_ah)
    within, more = (0.001 + unlike) * cycles, 2.5 * cycles * (1 - seen)
    report.compare("efc", cycles, within, 0.95 * least, most, 0.95 * least, most + more)


def check_round_trip(folder: Path, pack: Pack, report: Any) -> None:
    """Add up what went in and out over the stretches from full charge to full charge."""
    at_ms, volts, amps, offset = pack
    flow, stated = amps - offset, report.results["headline"]["round_trip"]
    power = np.where(np.abs(flow) < REST_A, 0.0, flow) * volts
    parts = np.maximum(power, 0.0), np.maximum(-power, 0.0), flow, np.maximum(flow, 0.0)
    rows = [row for row in table(folder / "segments.csv") if row["broken"] == "0"]
    spans = np.array([(int(row["from_ms"]), int(row["to_ms"])) for row in rows]).reshape(-1, 2)
    begin, end = np.searchsorted(at_ms, spans.T)
    sums = [counted(at_ms, each) for each in parts]
    into, out, left, charge = (each[end] - each[begin] for each in sums)
    use = charge > 0.03 * report.results["site"]["battery_ah"]
    hours = np.diff(spans).ravel() / HOUR_MS
    if use.any():
        open_a = float(np.sum((left - LOST * charge)[use]) / np.sum(hours[use]))
        words = f"sensor's offset: {open_a:+.3f} A are left from full to full"
        report.tell(words, good=abs(open_a - 0.015) <= 0.06)
    use &= (spans[:, 0] >= stated.get("from_ms", 0)) & (spans[:, 1] <= stated.get("to_ms", 0))
    if not use.any():
        report.compare("round_trip", None, 0.0)
        return
    ratio = float(np.sum(out[use]) / np.sum(into[use]))
    lost = np.hypot(0.0015, 0.017 * np.sum(hours[use]) / np.sum(charge[use]))
    most = TO_90 * float(np.hypot(1.8 * lost, 0.0006 * np.sqrt(60 / np.sum(use))))
    top = (0.0, 1.3 * most) if stated["high"] == 1 else ()
    report.compare(
        "round_trip", ratio, max(0.002, 0.7 * most), 0.0029, max(1.3 * most, 0.0031), *top
    )


_NIGHT = ("drawn_ah", "correction_ah", "state_ratio", "temperature_c", "ah")


class Low(NamedTuple):
    """The lowest quiet point of a night, by the medians of the quiet readings near to it."""

    drawn: float  # since full, the sensor's offset still in it [Ah]
    hours: float  # since full
    cell_v: float  # of a cell at rest [V]
    above: float  # how far above the very lowest quiet reading of that night [Ah]
    clear: bool  # whether it could have told the capacity, by its charge and its length


def lowest_points(
    nights: list[dict[str, str]], pack: Pack, report: Any
) -> tuple[Array, list[Low | None]]:
    """Return the reading at each full charge, and the lowest quiet point after it."""
    at_ms, amps = pack.at_ms, pack.amps
    rated, cells = (report.results["site"][name] for name in ("battery_ah", "battery_cells"))
    flow, jump = amps - pack.offset, np.diff(amps)
    clear = (np.abs(jump) > 0.08 * rated) & (np.maximum(flow[1:], flow[:-1]) < 0)
    clear &= pack.volts[1:] < 3.4 * cells
    ohm = float(np.median(np.diff(pack.volts)[clear] / jump[clear])) if clear.sum() > 20 else 0.0
    # At rest: without what the current adds, at once and slowly; between both ways of hysteresis.
    zero = report.results["wear"]["measured"]["voltmeter_zero_v"] or 0.0
    cell_v = (pack.volts - 1.3 * ohm * flow) / cells + 0.008 - zero
    raw, net, step = counted(at_ms, amps), counted(at_ms, flow), np.median(np.diff(at_ms))
    quiet = (flow < QUIET_A) & (flow > -0.15 * rated)
    full_ms = np.array([instant(night["full"]) for night in nights])
    begin = np.searchsorted(at_ms, full_ms)
    breaks = np.append(np.flatnonzero(np.diff(at_ms) > max(600_000, 2.5 * step)), at_ms.size) + 1
    ends = [np.append(begin, at_ms.size)[1:], np.searchsorted(at_ms, full_ms + 4 * DAY_MS)]
    end = np.min([*ends, breaks[np.searchsorted(breaks, begin + 1)]], axis=0)
    found: list[Low | None] = []
    for night, first, last in zip(nights, begin, end, strict=True):
        rows = first + 1 + np.flatnonzero(quiet[first + 1 : last])
        lowest = net[rows].min(initial=np.inf)
        if night["ah"]:
            rows = rows[np.abs(at_ms[rows] - instant(night["low"])) <= 3 * HOUR_MS]
        if not rows.size:
            found.append(None)
            continue
        low = rows[np.argmin(net[rows])]
        near = net[rows] <= net[low] + 0.006 * rated
        rows = rows[near & (np.abs(at_ms[rows] - at_ms[low]) <= 1.5 * HOUR_MS)]
        hours = float(np.median(at_ms[rows]) - at_ms[first]) / HOUR_MS
        enough = net[first] - lowest >= 0.25 * rated and rows.size * step >= 180_000
        drawn, above = float(raw[first] - np.median(raw[rows])), float(net[low] - lowest)
        found.append(Low(drawn, hours, float(np.median(cell_v[rows])), above, bool(enough)))
    return begin, found


def check_nights(folder: Path, pack: Pack, report: Any) -> None:
    """Follow each night from full to its lowest quiet point; compare it with what is listed."""
    nights, rated = table(folder / "nights.csv"), report.results["site"]["battery_ah"]
    curve = {
        name: np.array([float(row[name]) for row in table(folder / "curve.csv")])
        for name in ("state", "rest_v")
    }
    bent = max(abs(np.interp(x, curve["state"], curve["rest_v"]) - volts) for x, volts in CURVE)
    zero = report.results["wear"]["measured"]["voltmeter_zero_v"] or 0.0
    words = f"voltmeter: {zero * 1000:+.1f} mV a cell are taken off; the curve is the usual one"
    report.tell(words, good=bool(bent <= 0.001) and abs(zero) <= 0.0151)
    told = [float(night["state_ratio"]) for night in nights if night["ah"]]
    deepest = max(0.12, float(np.quantile(told, 0.4))) if told else 0.0
    found: list[tuple[float, ...]] = []
    wrong, left_out = [], 0
    for night, first, low in zip(nights, *lowest_points(nights, pack, report), strict=True):
        if low is None:
            wrong += [night["full"]] if night["ah"] else []
            continue
        state = float(np.interp(low.cell_v, curve["rest_v"], curve["state"]))
        if not night["ah"]:
            left_out += low.clear and low.cell_v > 2.5 and state < 0.165
            continue
        took, more, told_state, warmth, ah = (float(night[name]) for name in _NIGHT)
        cold = max(25.0 - warmth, 0.0)
        share, told_share = (FULL - x - COLD * cold * (1 - x) for x in (state, told_state))
        off = (low.drawn + more) / share / ah - 1
        either = abs(told_state - deepest) <= 2e-4  # it is rounded
        same = (
            abs(low.drawn + more - took) <= 0.008 * rated
            and abs(took / told_share / ah - 1) <= 0.001
            and abs(more / low.hours - pack.offset[first]) <= 0.4
            and abs(off) <= 0.08
            and low.above <= 0.03 * rated
            and (either or (night["counts"] == "1") == (told_state < deepest))
        )
        wrong += [] if same else [night["full"]]
        drawn = low.drawn + pack.offset[first] * low.hours
        found.append((float(pack.at_ms[first]), drawn, state, cold, off))
    words = f"nights: {len(found) - len(wrong)} of {len(found)} as listed"
    good = not wrong and left_out <= 2 + len(found) // 50
    report.tell(f"{words}; {left_out} told as much and are not", good=good)
    for each in wrong[:20]:
        report.tell(f"  that of {each} is another", good=False)
    if len(found) < 8:
        report.tell("nights: too few went low enough to tell the capacity", good=None)
        return
    when, drawn, states, colds, offs = np.array(found).T
    middle, far = float(np.median(offs)), float(np.mean(np.abs(offs) > 0.02))
    words = f"nights: the rest voltages make them {middle:+.2%} of what is listed"
    report.tell(words, good=abs(middle) <= 0.006 and far <= 0.2)
    check_line((when, drawn, states, colds), curve, report)


def check_line(nights: tuple[Array, ...], curve: dict[str, Array], report: Any) -> None:
    """Lay a line through all nights, beside what cold hides and how far off the curve is."""
    when, drawn, state, cold = nights
    years, span = (when - when[0]) / YEAR_MS, FULL - state
    if (report.results["wear"]["capacity_latest"] or {}).get("method") == "fast-loss-1":
        # Lost within months: no line is of use, and the newest nights tell what is left.
        left = float(np.median((drawn / (span - COLD * cold * (1 - state)))[-5:]))
        report.compare("capacity_ah", left, 0.04 * left, 0.033 * left, 0.08 * left)
        report.compare("fade", None, 0.0)
        return
    ends = np.clip(state + 0.01, 0.02, 1.0), np.clip(state - 0.01, 0.0, 0.98)
    upper, lower = (np.interp(each, curve["state"], curve["rest_v"]) for each in ends)
    per_v = 0.02 / (upper - lower) / span
    whole = float(np.median(drawn / span))
    implied = drawn / span / whole
    parts = np.column_stack([np.ones(when.size), years, -cold / span, per_v])
    unsure = np.hypot(0.006, 0.0015 * per_v)
    # Held before: whole, a year's loss, what a degree hides, volts a cell; and how firmly.
    before, firm = np.array([1.0, -0.03, 0.0025, 0.0]), 1 / np.array([0.5, 0.08, 0.0013, 0.005])
    weight, rows, fit, scale = np.ones(when.size), parts, before, 1.0
    for _ in range(8):
        rows = np.vstack([parts * (weight / unsure)[:, None], np.diag(firm)])
        fit = np.linalg.lstsq(
            rows, np.append(implied * weight / unsure, before * firm), rcond=None
        )[0]
        off = (implied - parts @ fit) / unsure
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.5)
        weight = np.sqrt(np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(off), 1e-9)))
    spread = np.linalg.inv(rows.T @ rows) * scale**2
    last = np.array([1.0, years[-1], 0.0, 0.0])
    newest = (implied - parts @ fit)[years > years[-1] - 0.5]
    ah = whole * float(last @ fit + np.median(newest))
    ah_u, fade_u = float(np.sqrt(last @ spread @ last)), float(np.sqrt(spread[1, 1]))
    # Where the curve is flat a pack's own one can be off by more than a line through nights sees.
    flat = float(np.median(per_v))
    within = ah * float(np.linalg.norm([0.01, 2.5 * ah_u, 0.025 * flat, 0.0065 * flat**3]))
    most = ah * float(np.hypot(np.hypot(0.0135, 7 * ah_u), 0.014 * flat**2))
    report.compare("capacity_ah", ah, within, 0.0102 * ah, most)
    within, most = float(np.hypot(0.003, 6 * fade_u)), 0.003 + 6 * fade_u
    report.compare("fade", float(-fit[1] / fit[0]), within, 0.0008, most)


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
