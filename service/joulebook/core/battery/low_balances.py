"""The equations that go through a low anchor: from full down to it, and on to the next full."""

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import FullToLow, LowToFull
from joulebook.core.battery.charge_counter import ChargeCounter
from joulebook.core.battery.full_anchors import FullCharges
from joulebook.core.battery.low_anchors import LowPoints
from joulebook.core.history import MS_PER_HOUR, Floats, PackHistory

#: A way back to full that takes longer says more about the sensor than about the battery. [h]
LONGEST_BACK_H = 96.0


def full_to_low(
    history: PackHistory,
    counter: ChargeCounter,
    full: FullCharges,
    low: LowPoints,
    temperature_c: Floats,
    states: tuple[Floats, Floats],
    night: NDArray[np.int64],
) -> FullToLow:
    """Return the balances down to the low anchors of these nights (rows of ``low``).

    Parameters
    ----------
    states : tuple of float64 (m,)
        State of charge and slope of the generic curve at each low point.
    """
    begin, hour = full.last[night], low.hour[night]
    hours = hour - counter.hours[begin]
    return FullToLow(
        full_ms=history.at_ms[begin],
        low_ms=history.at_ms[begin] + np.round(hours * MS_PER_HOUR).astype(np.int64),
        hours=hours,
        drawn_ah=counter.net_ah[begin] - low.charge_ah[night],
        charged_ah=_at(hour, counter, counter.charged_ah) - counter.charged_ah[begin],
        drawn_wh=counter.net_wh[begin] - _at(hour, counter, counter.net_wh),
        cell_v=low.cell_v[night],
        x_low=states[0][night],
        slope_v=states[1][night],
        current_a=low.current_a[night],
        slow_a=low.slow_a[night],
        resistance_ohm=low.ohm[night],
        full_c=temperature_c[begin],
        low_c=low.low_c[night],
    )


def low_to_full(
    history: PackHistory,
    counter: ChargeCounter,
    full: FullCharges,
    low: LowPoints,
    temperature_c: Floats,
    night: NDArray[np.int64],
) -> LowToFull:
    """Return the balances from low anchors on to the end of the next full charge."""
    on = np.flatnonzero(night + 1 < full.last.size)
    end, hour = full.last[night[on] + 1], low.hour[night[on]]
    returned_ah = counter.net_ah[end] - low.charge_ah[night[on]]
    whole = (counter.run[end] == counter.run[low.low_row[night[on]]]) & (returned_ah > 0)
    whole &= counter.hours[end] - hour <= LONGEST_BACK_H
    on, end, hour, returned_ah = on[whole], end[whole], hour[whole], returned_ah[whole]
    return LowToFull(
        low=on,
        full_ms=history.at_ms[end],
        hours=counter.hours[end] - hour,
        returned_ah=returned_ah,
        charged_ah=counter.charged_ah[end] - _at(hour, counter, counter.charged_ah),
        full_c=temperature_c[end],
    )


def _at(hour: Floats, counter: ChargeCounter, counted: Floats) -> Floats:
    """Return what was counted up to these hours of the record."""
    return np.interp(hour, counter.hours, counted) if hour.size else np.empty(0)
