"""How far an energy counter rose, through wraps, resets, dips and torn reads.

Method `counter-1`, see ``docs/methods/counter.md``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

METHOD = "counter-1"

#: Above any house with a battery of this class; tells a wrap from a reset. [W] (our choice)
PLAUSIBLE_POWER_W = 50_000.0

_EVER_MS = 2**52

#: Falls up to this many of the counter's own steps are its last digit flickering.
_DIP_STEPS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterRise:
    """The rise of a counter between its first and last reading.

    Attributes
    ----------
    energy_wh : float
        The rise. [Wh]
    wraps, resets, dips, rejected : int
        How often it went through its end, began anew, fell by its last digit and held, or gave
        a reading that no plausible power explains and that the next one took back.
    lower_bound : bool
        Whether a part is unknown, so that the true rise is at least ``energy_wh``.
    """

    energy_wh: float
    wraps: int = 0
    resets: int = 0
    dips: int = 0
    rejected: int = 0
    lower_bound: bool = False


def counter_rise(
    at_ms: NDArray[np.int64],
    raw: NDArray[np.float64],
    *,
    max_power_w: float = PLAUSIBLE_POWER_W,
    wh_per_count: float = 1.0,
    bits: int | None = None,
    resolution: float | None = None,
) -> CounterRise:
    """Return how far a counter rose from its first reading to its last.

    Parameters
    ----------
    at_ms, raw : int and float arrays, shape (n,)
        Instants [ms, UTC epoch], increasing, and what the counter showed, NaN where missing.
    max_power_w : float
        The most that can flow: a step is plausible up to ``max_power_w · Δt`` and one step of
        the counter's resolution. [W]
    wh_per_count : float
        Worth of one count. [Wh]
    bits : int, optional
        Width of the register; without it a counter never wraps.
    resolution : float, optional
        The counter's smallest step, in counts; by default the smallest rise that is seen.

    Raises
    ------
    ValueError
        If there is no reading, or the shapes differ.

    Notes
    -----
    A 32-bit counter goes from 2³²-1 to 0 and on (RFC 2578 §7.1.6). Read before: 4294967290,
    now: 4, so it rose by 10.
    """
    if at_ms.shape != raw.shape:
        raise ValueError(f"{at_ms.size} instants, but {raw.size} readings")
    there = ~np.isnan(raw)
    if not there.all():
        at_ms, raw = at_ms[there], raw[there]
    if raw.size == 0:
        raise ValueError("a counter without readings")
    steps = raw[1:] - raw[:-1]
    if resolution is None:
        rises = steps[steps > 0]
        resolution = float(rises.min()) if rises.size else 0.0
    # Almost always the largest step is plausible in the shortest time, and so are all.
    shortest_ms = int((at_ms[1:] - at_ms[:-1]).min(initial=_EVER_MS))
    enough = max_power_w / wh_per_count * shortest_ms / 3_600_000 + resolution
    if steps.min(initial=0.0) >= 0 and steps.max(initial=0.0) <= enough:
        return CounterRise(energy_wh=float(raw[-1] - raw[0]) * wh_per_count)
    allowed = max_power_w / wh_per_count * np.diff(at_ms) / 3_600_000 + resolution
    if np.all((steps >= 0) & (steps <= allowed)):
        return CounterRise(energy_wh=float(raw[-1] - raw[0]) * wh_per_count)
    walk = _Walk(
        counts_per_ms=max_power_w / wh_per_count / 3_600_000,
        resolution=resolution,
        modulus=None if bits is None else 2.0**bits,
    )
    return walk.through(at_ms.tolist(), raw.tolist(), wh_per_count)


@dataclass(slots=True, kw_only=True)
class _Walk:
    """Goes through a troubled counter reading by reading."""

    counts_per_ms: float
    resolution: float
    modulus: float | None

    def through(self, at_ms: list[int], raw: list[float], wh_per_count: float) -> CounterRise:
        rise, wraps, resets, dips, rejected, lost = 0.0, 0, 0, 0, 0, False
        held, held_ms = raw[0], at_ms[0]
        for place in range(1, len(raw)):
            value, passed = raw[place], at_ms[place] - held_ms
            step = self.step(held, value, passed)
            if step is not None:
                wraps += value < held
                rise += step
            elif 0 < held - value <= _DIP_STEPS * self.resolution:
                dips += 1
                continue  # the highest reading holds until the counter has passed it
            elif place + 1 == len(raw) or self.takes_back(held, held_ms, at_ms, raw, place):
                rejected += 1
                lost |= place + 1 == len(raw)
                continue
            else:
                # It began anew: what it shows was counted since, what it lost is unknown.
                resets, lost = resets + 1, True
                rise += value if value < held and value <= self.allowed(passed) else 0.0
            held, held_ms = value, at_ms[place]
        return CounterRise(
            energy_wh=rise * wh_per_count,
            wraps=wraps,
            resets=resets,
            dips=dips,
            rejected=rejected,
            lower_bound=lost,
        )

    def allowed(self, passed_ms: int) -> float:
        """Return the largest plausible rise in a time. [counts]"""
        return self.counts_per_ms * passed_ms + self.resolution

    def step(self, held: float, value: float, passed_ms: int) -> float | None:
        """Return the plausible rise from one reading to another, or ``None``."""
        step = value - held
        if step < 0 and self.modulus is not None:
            step += self.modulus
        return step if 0 <= step <= self.allowed(passed_ms) else None

    def takes_back(
        self, held: float, held_ms: int, at_ms: list[int], raw: list[float], place: int
    ) -> bool:
        """Whether the next reading goes on from the held one, as after a torn read.

        After a fall it must not go on from the fallen reading as well: then it began anew.
        """
        value, after, after_ms = raw[place], raw[place + 1], at_ms[place + 1]
        anew = value < held and self.step(value, after, after_ms - at_ms[place]) is not None
        return not anew and self.step(held, after, after_ms - held_ms) is not None
