"""A guided deep-discharge test of capacity: what it needs, and what to be careful with.

Method `deep-test-1`, see ``docs/methods/deep-test.md``. For a battery that is never drawn low in
daily use: a few nights with the reserve lowered, by its owner, in his own equipment.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.anchors import DEEP_STATE
from joulebook.core.battery.low_anchors import QUIET_RATE
from joulebook.core.battery.low_reasons import LEAST_QUIET_S
from joulebook.core.battery.rest_voltage import FULL_STATE, HALF_HYSTERESIS_V, rest_voltage

#: A steady discharge of no more than this is advised; of the rated charge, per hour.
ADVISED_RATE = 0.2
#: Between these temperatures a test tells the capacity (our choice). [°C]
COLDEST_C, WARMEST_C = 10.0, 35.0
#: How often a home that never gets low is advised to test. [days]
EVERY_DAYS = 90

#: What an owner is told before he lowers anything.
CAUTIONS = (
    "joulebook only measures. You lower the reserve yourself, in your own equipment, and put it "
    "back afterwards.",
    "In the nights of the test there is next to nothing left in the battery: in an outage the "
    "house is dark. Choose nights without storms, and not while anybody depends on a device.",
    "Stay above what the battery's maker allows: its lowest voltage and charge, its temperatures, "
    "and what the warranty says of deep discharge. Where this plan asks for less, do not do it.",
    "Never disconnect or bypass the battery's own protection, and open nothing: a battery holds "
    "its energy also when it seems empty, and direct current keeps its arc. Work on the wiring is "
    "for a qualified person, with the supplies locked out and by the local code.",
    "Charge it fully the next day: a battery must not stand empty.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a test has to reach.

    Attributes
    ----------
    rated_ah : float
        What the maker rates. [Ah]
    cells : int
        In series.
    low_state : float
        State of charge, told by the voltage, that it has to fall below.
    low_v : float
        About what the pack then reads at a light load. [V]
    most_a : float
        No more may flow at the bottom. [A]
    advised_a : float
        A steady discharge of no more than this is advised. [A]
    expected_ah : float
        About what is drawn until then. [Ah]
    """

    rated_ah: float
    cells: int
    low_state: float
    low_v: float
    most_a: float
    advised_a: float
    expected_ah: float


def target_of(rated_ah: float, cells: int) -> Target:
    """Return what a test of a battery has to reach.

    Parameters
    ----------
    rated_ah : float
        What the maker rates, of the whole battery. [Ah]
    cells : int
        In series.

    Raises
    ------
    ValueError
        If either is not above zero.

    Notes
    -----
    200 Ah, 16 cells: 8 % is 3.175 V a cell on the generic curve, less 8 mV while discharging,
    50.7 V; (0.999 - 0.08) · 200 = 184 Ah.
    """
    if not (rated_ah > 0 and cells > 0):
        raise ValueError(f"no test of {rated_ah} Ah and {cells} cells")
    return Target(
        rated_ah=rated_ah,
        cells=cells,
        low_state=DEEP_STATE,
        low_v=cells * (float(rest_voltage(np.array(DEEP_STATE))) - HALF_HYSTERESIS_V),
        most_a=QUIET_RATE * rated_ah,
        advised_a=ADVISED_RATE * rated_ah,
        expected_ah=(FULL_STATE - DEEP_STATE) * rated_ah,
    )


def steps_of(target: Target) -> tuple[str, ...]:
    """Return what the owner does, one sentence a step."""
    hours = target.expected_ah / target.advised_a
    return (
        f"Choose days on which the battery is between {COLDEST_C:.0f} and {WARMEST_C:.0f} °C and "
        "readings arrive without gaps.",
        "Let it charge fully: held at its charge voltage until hardly any current flows.",
        f"Lower the reserve, and let the house draw it down steadily, at {target.advised_a:.0f} A "
        f"or less: {hours:.0f} hours or more for about {target.expected_ah:.0f} Ah. Nothing "
        "should charge it on the way.",
        f"It counts below {target.low_state:.0%}: about {target.low_v:.1f} V at a light load. "
        f"There, draw no more than {target.most_a:.0f} A for {LEAST_QUIET_S / 60:.0f} minutes or "
        "longer; best hardly anything for half an hour.",
        "Put the reserve back, and let it charge fully the same day, without a gap in the "
        "readings: in and out together take the current sensor's zero out of the result.",
        "One such night is a result; two or three tell how far it can be trusted.",
    )
