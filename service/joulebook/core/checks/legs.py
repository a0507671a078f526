"""The two legs of a split-phase house: are both live, how even, and is the neutral sound?"""

import numpy as np

from joulebook.core.checks.finding import NEUTRAL_CAUTION, PANEL_CAUTION, Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.history import Floats

#: A leg with less than this at its busiest carries nothing. [W]
LIVE_W = 20.0
#: A leg that carries more than this share of the load leaves little room on it (our choice).
LARGEST_LEG_RATIO = 0.85
#: Legs this far apart, while their sum stays, hang on a neutral that floats (our choice). A sound
#: service keeps them within a few volts. [V]
APART_V = 10.0
_STEADY_SUM_RATIO = 0.04
_LARGEST_SHARE_RATIO = 0.002
#: Legs that part as one is loaded, by so much in a twentieth of the time, do so already. [V]
PARTING_V, _PARTING_CORRELATION = 6.0, -0.5
_FEWEST_ROWS = 100


def legs(inputs: CheckInputs, device: str) -> Finding:
    """Return whether both legs of a load carry something, and how evenly."""
    first, second = inputs.together(device, "power_l1", "power_l2")
    if first.size < _FEWEST_ROWS:
        return unclear("legs", f"{device} does not report both legs", device=device)
    busiest = [float(np.percentile(each, 99)) for each in (first, second)]
    total = float(np.sum(first) + np.sum(second))
    share = max(float(np.sum(first)), float(np.sum(second))) / total if total > 0 else 0.0
    evidence = {
        "mean_l1_w": float(np.mean(first)),
        "mean_l2_w": float(np.mean(second)),
        "busiest_l1_w": busiest[0],
        "busiest_l2_w": busiest[1],
        "larger_leg_ratio": share,
    }
    coverage = inputs.share_of(device, first.size)
    dead = [leg for leg, most in zip(("L1", "L2"), busiest, strict=True) if most < LIVE_W]
    if len(dead) == 2:
        return unclear("legs", f"{device} carried nothing on either leg", device=device)
    if dead:
        return Finding(
            name="legs",
            device=device,
            verdict="trouble",
            sentence=f"leg {dead[0]} of {device} carried nothing in these days",
            evidence=evidence,
            look_at="a tripped breaker or a clamp that is not closed or not plugged in; or there "
            "is nothing on that leg",
            caution=PANEL_CAUTION,
            coverage_ratio=coverage,
        )
    uneven = share > LARGEST_LEG_RATIO
    return Finding(
        name="legs",
        device=device,
        verdict="trouble" if uneven else "good",
        sentence=f"both legs of {device} are live; the larger carries {share:.0%} of the load",
        evidence=evidence,
        look_at="moving some circuits to the other leg, so that a large start finds room on both"
        if uneven
        else None,
        caution=PANEL_CAUTION if uneven else None,
        coverage_ratio=coverage,
    )


def neutral(inputs: CheckInputs, device: str) -> Finding:
    """Return whether the two leg voltages part while their sum stays: a neutral that floats.

    Notes
    -----
    L1 and L2 are halves of one winding: 120.1 V and 120.0 V are 240.1 V across both. With the
    neutral gone the loads of the two legs stand in series, and one leg rises as the other falls.
    """
    first, second = inputs.together(device, "voltage_l1", "voltage_l2")
    live = (first > 60) & (second > 60)
    first, second = first[live], second[live]
    if first.size < _FEWEST_ROWS:
        return unclear(
            "neutral", f"{device} does not report the voltage of both legs", device=device
        )
    apart, total = np.abs(first - second), first + second
    steady = np.abs(total / np.median(total) - 1) <= _STEADY_SUM_RATIO
    floating = float(np.mean((apart > APART_V) & steady))
    parting_v = float(np.percentile(np.abs(first - second - np.median(first - second)), 95))
    together = _correlation(first, second)
    evidence = {
        "mean_l1_v": float(np.mean(first)),
        "mean_l2_v": float(np.mean(second)),
        "largest_difference_v": float(apart.max()),
        "parted_ratio": floating,
        "parting_v": parting_v,
        "correlation_ratio": together,
    }
    parting = parting_v > PARTING_V and together < _PARTING_CORRELATION
    trouble = floating > _LARGEST_SHARE_RATIO or parting
    sentence = (
        f"the legs stood up to {apart.max():.1f} V apart, one up and the other down, while their "
        "sum stayed: the neutral may be loose"
        if trouble
        else f"both legs stay within {apart.max():.1f} V of each other"
    )
    return Finding(
        name="neutral",
        device=device,
        verdict="trouble" if trouble else "good",
        sentence=sentence,
        evidence=evidence,
        look_at="the neutral from the service to the panel, by a licensed electrician or the "
        "utility, today"
        if trouble
        else None,
        caution=NEUTRAL_CAUTION if trouble else None,
        coverage_ratio=inputs.share_of(device, first.size),
    )


def _correlation(first: Floats, second: Floats) -> float:
    """Return how the legs move together, 0 where one of them does not move."""
    if np.std(first) == 0 or np.std(second) == 0:
        return 0.0
    return float(np.corrcoef(first, second)[0, 1])
