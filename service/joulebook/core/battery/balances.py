"""Charge between known states of the pack: the equations that capacity is fitted to.

Columns of equal length, one row an equation; the order is that of time.
"""

from dataclasses import dataclass

from joulebook.core.history import Floats, Instants


@dataclass(frozen=True, slots=True, kw_only=True)
class FullToFull:
    """From the end of one full charge to the end of the next, without a break.

    Attributes
    ----------
    from_ms, to_ms : int64 (n,)
        End of the first and of the second. [ms, UTC epoch]
    hours : float64 (n,)
        Between them. [h]
    change_ah : float64 (n,)
        What the sensor says went in, less what it says came out. [Ah]
    charged_ah : float64 (n,)
        What it says went in. [Ah]
    from_c, to_c : float64 (n,)
        Temperature at either end. [°C]
    """

    from_ms: Instants
    to_ms: Instants
    hours: Floats
    change_ah: Floats
    charged_ah: Floats
    from_c: Floats
    to_c: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LowToFull:
    """From a low anchor to the end of the next full charge; ``low`` indexes :class:`FullToLow`.

    Attributes
    ----------
    low : int64 (n,)
        Which row of the full-to-low balances it goes on from.
    full_ms : int64 (n,)
        End of the full charge. [ms, UTC epoch]
    hours, returned_ah, charged_ah, full_c : float64 (n,)
        As of the others; ``returned_ah`` is net, and above zero.
    """

    low: Instants
    full_ms: Instants
    hours: Floats
    returned_ah: Floats
    charged_ah: Floats
    full_c: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class FullToLow:
    """From the end of a full charge down to a state that the voltage still tells.

    Attributes
    ----------
    full_ms, low_ms : int64 (n,)
        End of the full charge, instant of the low anchor. [ms, UTC epoch]
    hours : float64 (n,)
        Between them. [h]
    drawn_ah, charged_ah : float64 (n,)
        What the sensor says was taken, net, above zero; and what it says went in on the way. [Ah]
    drawn_wh : float64 (n,)
        The same as energy, uncorrected, net, above zero. [Wh]
    cell_v : float64 (n,)
        Corrected rest voltage of a cell at the anchor. [V]
    x_low : float64 (n,)
        State of charge that the generic curve gives to it.
    slope_v : float64 (n,)
        Of the generic curve there, volts a cell per unit of state of charge.
    current_a, slow_a : float64 (n,)
        At the anchor, and its 20-minute exponential mean; below zero while discharging. [A]
    resistance_ohm : float64 (n,)
        Of the pack at the anchor's temperature and time.
    full_c, low_c : float64 (n,)
        Temperature at either end. [°C]
    """

    full_ms: Instants
    low_ms: Instants
    hours: Floats
    drawn_ah: Floats
    charged_ah: Floats
    drawn_wh: Floats
    cell_v: Floats
    x_low: Floats
    slope_v: Floats
    current_a: Floats
    slow_a: Floats
    resistance_ohm: Floats
    full_c: Floats
    low_c: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Balances:
    """All equations of a record.

    Attributes
    ----------
    start_ms, end_ms : int
        First and last instant of the record. [ms, UTC epoch]
    rated_ah : float
        What the maker rates. [Ah]
    cells : int
        In series.
    """

    start_ms: int
    end_ms: int
    rated_ah: float
    cells: int
    full_to_full: FullToFull
    full_to_low: FullToLow
    low_to_full: LowToFull
