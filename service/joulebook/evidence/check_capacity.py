"""Works capacity and fade out anew, from all nights and full charges together: part of check.py.

The same balances of charge that the methods' pages describe, written down again and solved again.
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from check_full import Fulls, closings  # type: ignore[import-not-found]
from check_numbers import (  # type: ignore[import-not-found]
    DAY_MS,
    TO_90,
    Array,
    Curve,
    Lows,
    Pack,
    instant,
    laid,
    offset_shares,
    shares,
    slope_at,
    table,
)

FULL = 0.999
#: States of charge at which the pack's own curve may differ from the usual one.
AT = np.linspace(0.0, 0.28, 15)
#: What is held before the readings: mean and standard deviation of what is lost on the way in,
#: what a degree hides at full and at low, slow polarisation, the charge kept below.
HELD = np.array([(0.0025, 0.0015), (0.001, 0.001), (0.0015, 0.0012), (0.0, 0.3), (0.5, 0.3)])
YEAR_D, ROUNDS = 365.25, 12


class Balances(NamedTuple):
    """What was counted between two known states; a closing, from full to full, has no voltage."""

    low: Array  # whether it is a night, and not a closing
    change: Array  # [Ah]
    sigma: Array  # its standard deviation [Ah]
    day: Array
    hours: Array
    charged: Array  # [Ah]
    cell_v: Array
    state: Array
    slow_v: Array
    full_cold: Array
    low_cold: Array


class Fitted(NamedTuple):
    """What all balances say together."""

    knots: Array  # of the capacity [days since the first reading]
    ah: Array  # at the knots
    spread: Array  # its covariance
    low_day: Array  # of the nights that took part
    states: Array
    misfit: float  # of the nights, of the rated charge


def held_before(k: int, pieces: list[int], rated: float) -> tuple[Array, Array]:
    """Return what is held before any reading, as equations of unit standard deviation."""
    m, years = sum(pieces), 60 / YEAR_D
    one = np.eye(2 * k + m + AT.size + len(HELD))
    ah, zero, bent, shared, rest = np.split(one, np.cumsum([k, m, AT.size, k]))
    bend = (0.006 + 0.020 / (1.0 + np.arange(k - 2))) * rated * years + 0.02
    begins = np.cumsum([0, *pieces[:-1]])
    on = np.delete(np.diff(zero, axis=0), begins[1:] - 1, axis=0)
    alike = 0.008**2 * np.exp(-np.abs(AT[:, None] - AT) / 0.1)
    parts = (
        (ah[:1] / (0.04 * rated), 1.02 / 0.04),
        (np.diff(ah, axis=0) / (0.08 * rated * years), -0.03 / 0.08),
        (np.diff(ah, n=2, axis=0) / bend[:, None], 0.0),
        (zero[begins] / 0.3, 0.0),
        (on / 0.02, 0.0),
        (np.linalg.inv(np.linalg.cholesky(alike)) @ bent, 0.0),
        (shared / 0.0009, 0.0),
    )
    terms = np.vstack([each for each, _ in parts] + [rest / HELD[:, 1:]])
    wanted = [np.full(len(each), value) for each, value in parts]
    return terms, np.concatenate([*wanted, HELD[:, 0] / HELD[:, 1]])


class Unknowns(NamedTuple):
    """What the unknowns are multiplied with, and where each kind of them begins."""

    knots: Array  # of the capacity [days since the first reading]
    ah: Array
    zero: Array
    bent: Array
    places: Array

    def equations(self, rows: Balances, value: Array, curve: Curve) -> tuple[Array, Array]:
        """Return what is left of each balance, and by how much each unknown changes it."""
        ah, zero, bent = self.ah, self.zero, self.bent
        held, b, error, common, rest = np.split(value, self.places)
        loss, full_cold, low_cold, slow, kept = rest
        off_v = bent @ error + (ah @ common + slow * rows.slow_v) * rows.low
        state = np.interp(rows.cell_v - off_v, curve["rest_v"], curve["state"])
        below, state = state * rows.low, np.where(rows.low, state, FULL)
        span = FULL - state + full_cold * rows.full_cold + low_cold * rows.low_cold
        holds = ah @ held
        fallen = held[0] - holds
        left = rows.change - holds * span + kept * below * fallen
        left -= rows.hours * (zero @ b) + loss * rows.charged
        per_v = rows.low * (holds + kept * fallen) / slope_at(curve, state)
        slopes = np.column_stack(
            (
                (span + kept * below)[:, None] * ah,
                rows.hours[:, None] * zero,
                per_v[:, None] * bent,
                per_v[:, None] * ah,
                *(rows.charged, holds * rows.full_cold, holds * rows.low_cold),
                *(per_v * rows.slow_v, -below * fallen),
            )
        )
        slopes[:, 0] -= kept * below
        return left, slopes


def solved(rows: Balances, edges: Array, since: float, curve: Curve, rated: float) -> Fitted:
    """Solve all balances together, again and again: what lies far off pulls less, or not at all.

    Parameters
    ----------
    edges
        Where the record begins and ends, and where its current sensor may have stepped. [days]
    since
        When this battery began. [days]
    """
    knots = laid(since, edges[-1], 60.0)
    k, bent = knots.size, shares(AT, rows.state) * rows.low[:, None]
    zero, pieces = offset_shares(edges, rows.day)
    places = np.cumsum([k, sum(pieces), AT.size, k])
    unknowns = Unknowns(knots, shares(knots, rows.day), zero, bent, places)
    held, wanted = held_before(k, pieces, rated)
    value = np.zeros(held.shape[1])
    value[:k] = rated * (1.02 - np.minimum(0.03 * (knots - since) / YEAR_D, 0.5))
    value[places[3] :] = HELD[:, 0]
    weight, inverse = np.ones(rows.day.size), held
    for turn in range(ROUNDS):
        left, slopes = unknowns.equations(rows, value, curve)
        sigma = rows.sigma.copy()
        for own in (~rows.low, rows.low):
            if own.sum() >= 8:
                typical = float(np.median(np.abs(left / rows.sigma)[own])) / 0.6745
                sigma[own] *= max(typical, 0.5)
        far = np.abs(left / sigma)
        weight = np.where((far > 6.0) & (turn > 1), 0.0, 1.5 / np.maximum(far, 1.5))
        pull = np.sqrt(weight) / sigma
        terms = np.vstack([slopes * pull[:, None], held])
        size = np.sqrt(np.sum(terms**2, axis=0))
        inverse = np.linalg.inv(terms.T @ terms / np.outer(size, size)) / np.outer(size, size)
        value += inverse @ (terms.T @ np.append(left * pull, wanted - held @ value))
    left, _ = unknowns.equations(rows, value, curve)
    used = rows.low & (weight > 0)
    misfit = float(np.median(np.abs(left[rows.low]))) / 0.6745 / rated
    return Fitted(knots, value[:k], inverse[:k, :k], rows.day[used], rows.state[used], misfit)


def balances(
    pack: Pack, fulls: Fulls, lows: Lows, steps: Array, since: float, curve: Curve
) -> Balances:
    """Return what was counted from full to full, and down to each night's low and up again."""
    last, low_day = fulls.last, lows.hours / 24
    day = pack.hours[last] / 24
    full_cold, low_cold = (np.maximum(25.0 - c, 0.0) for c in (pack.warmth[last], lows.warmth))
    at_full = np.stack([pack.raw[last], pack.hours[last], pack.charged[last], -full_cold])
    at_low = np.stack([pack.raw[last] - lows.drawn, lows.hours, lows.charged, 0.0 * low_day])
    piece, low_piece = (np.searchsorted(steps, each, side="right") for each in (day, low_day))
    night = np.flatnonzero(lows.surely & (day >= since) & (piece == low_piece))
    following = np.minimum(night + 1, last.size - 1)
    down, up = at_full[:, night] - at_low[:, night], at_full[:, following] - at_low[:, night]
    both = (following > night) & (pack.run[last[following]] == pack.run[lows.lowest[night]])
    both &= (up[0] > 0) & (up[1] <= 96) & (piece[following] == low_piece[night])
    ways = np.where(both, (down + up) / 2, down)
    rest_v = np.sqrt(0.0015**2 + (0.3 * lows.slow_v) ** 2 + (0.04 * lows.now_v) ** 2)
    anchor = (pack.rated * rest_v / slope_at(curve, lows.state))[night]
    first = np.flatnonzero(closings(pack, fulls) & (np.diff(piece) == 0))
    around = at_full[:, first + 1] - at_full[:, first]
    none, middle = np.zeros(first.size), (day[first] + day[first + 1]) / 2
    change, hours, charged, cold = np.hstack([around, ways])
    return Balances(
        np.repeat([False, True], [first.size, night.size]),
        change,
        np.append(
            0.00175 * pack.rated * np.sqrt(1 + around[1] / 24),
            np.sqrt(anchor**2 + np.where(both, 0.5, 1.0) * (0.0015 * pack.rated) ** 2),
        ),
        np.append(middle, low_day[night]),
        hours,
        charged,
        np.append(none, lows.cell_v[night]),
        np.append(none, lows.state[night]),
        np.append(none, lows.slow_v[night]),
        cold,
        np.append(none, -low_cold[night]),
    )


def check_capacity(
    folder: Path, pack: Pack, fulls: Fulls, lows: Lows, implied: Array, curve: Curve, report: Any
) -> None:
    """Compare capacity and fade with what all balances say together.

    Parameters
    ----------
    implied
        What each night tells by itself. [Ah]
    """
    events = [row for row in table(folder / "events.csv") if not row["taken_back"]]
    end = float(pack.hours[-1]) / 24
    moved = {
        (instant(row["at"]) - pack.at_ms[0]) / DAY_MS: row["kind"]
        for row in events
        if row["kind"] in ("wiring", "sensor", "firmware", "battery")
    }
    steps = np.array(sorted(day for day in moved if 0 < day < end))
    since = max((day for day in steps if moved[day] == "battery"), default=0.0)
    rows = balances(pack, fulls, lows, steps, since, curve)
    stated = report.results["headline"]["capacity_ah"]
    if rows.low.sum() < 3:
        words = "nights: too few went low enough to tell the capacity"
        report.tell(words, good=None if stated["value"] is None else False)
        return
    fitted = solved(rows, np.array([0.0, *steps, end]), since, curve, pack.rated)
    newest = lows.surely & (pack.hours[fulls.last] / 24 >= max(steps, default=0.0))
    lost = lost_fast(fitted, lows.hours[newest] / 24, implied[newest])
    ah, ah_u = capacity(fitted, curve)
    method = (report.results["wear"]["capacity_latest"] or {}).get("method")
    sure = stated["value"] is not None or fitted.misfit > 0.014
    if sure and (method == "fast-loss-1" or lost.beyond > 1.1):
        words = "newest nights: they lie far below those before, capacity is being lost fast"
        report.tell(words, good=method == "fast-loss-1" and lost.beyond > 0.9)
        half = TO_90 * lost.ah * lost.u
        report.compare("capacity_ah", lost.ah, 0.005 * lost.ah, 0.95 * half, 1.05 * half)
        report.compare("fade", None, 0.0)
        return
    half = TO_90 * ah * float(np.linalg.norm([ah_u, 0.01 / np.sqrt(3)]))
    within = ah * float(np.hypot(0.0005, 0.1 * ah_u))
    report.compare("capacity_ah", ah, within, 0.95 * half, 1.05 * half)
    fade, fade_u = line_through(fitted, since, end)
    within, half = float(np.hypot(0.0001, 0.1 * fade_u)), TO_90 * fade_u
    report.compare("fade", fade, within, 0.95 * half, 1.05 * half)


def capacity(fitted: Fitted, curve: Curve) -> tuple[float, float]:
    """Return what the battery held in its last night, and how unsure that is, but for the scale."""
    share = shares(fitted.knots, fitted.low_day.max(keepdims=True))[0]
    ah = float(share @ fitted.ah)
    own = 1.4 * float(np.sqrt(share @ fitted.spread @ share)) / ah
    unseen = 0.0015 / float(slope_at(curve, np.median(fitted.states, keepdims=True))[0])
    return ah, float(np.linalg.norm([own, 0.003, unseen]))


def line_through(fitted: Fitted, since: float, end: float) -> tuple[float, float]:
    """Return the loss a year of the straight line through the capacity, and how unsure it is."""
    first, last = fitted.low_day.min(), fitted.low_day.max()
    begin = since if first - since <= 45 else first
    days = np.linspace(begin, end if end - last <= 45 else last, 201)
    share, years = shares(fitted.knots, days), (days - begin) / YEAR_D
    apart = years - years.mean()
    start, slope = float(share[0] @ fitted.ah), -apart / np.sum(apart**2) @ share
    loss = float(slope @ fitted.ah) / start
    parts = (slope - loss * share[0]) / start
    wider = 1.6 if years[-1] < 1.5 else 1.4
    return loss, float(np.hypot(wider * np.sqrt(parts @ fitted.spread @ parts), 0.0005))


class Lost(NamedTuple):
    """What the newest nights tell by themselves."""

    beyond: float  # how far they lie below the others, of what would have to be believed
    ah: float
    u: float  # of it [ratio]


def lost_fast(fitted: Fitted, day: Array, implied: Array) -> Lost:
    """Compare the nights of the last thirty days with those before the last half year."""
    newest, calm = day > day.max(initial=0.0) - 30, day < day.max(initial=0.0) - 180
    if newest.sum() < 5 or calm.sum() < 12:
        return Lost(0.0, float(fitted.ah[-1]), 0.0)
    beside = implied / (shares(fitted.knots, day) @ fitted.ah)
    usual = float(np.median(beside[calm]))
    usual = usual if abs(usual - 1) <= 0.03 else 1.0
    own_u, beside_u = (
        1.2533 * float(np.std(each[newest], ddof=1)) / float(np.sqrt(newest.sum()))
        for each in (implied / np.median(implied[newest]), beside)
    )
    below, least = 1 - float(np.median(beside[newest])) / usual, max(0.04, 4 * beside_u)
    if fitted.misfit > 0.014:
        below = 1 - float(np.median(implied[newest]) / np.median(implied[calm]))
        least = max(0.10, 4 * own_u)
    ah = float(np.median(implied[newest][-5:])) / usual
    return Lost(below / least, ah, float(np.linalg.norm([own_u, 0.02, 0.0058])))
