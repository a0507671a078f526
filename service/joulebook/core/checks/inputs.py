"""What the checks look at, and how they get at it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import Curve, curve
from joulebook.core.history import Floats, Instants
from joulebook.core.powers import DeviceArrays, SeriesSources
from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span

Readings = tuple[Instants, Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckInputs:
    """The last days of a site.

    Attributes
    ----------
    days : tuple of Span
        Local days in a row, the last of them up to now.
    devices : mapping of device name to DeviceArrays
        Their readings.
    site_series : mapping of device name to a set of quantity names
        Everything the site has ever reported: a silent device is in it.
    battery_ah, battery_cells, inverter_w : float, int and float, or None
        Rated charge of the whole battery [Ah], its cells in series and what the inverter can
        give for long [W], where entered.
    lags_s : mapping of device name to float array
        Of messages of these days: time of receipt less time of reading. Empty where nobody
        kept it. [s]
    """

    days: tuple[Span, ...]
    devices: Mapping[str, DeviceArrays]
    site_series: Mapping[str, frozenset[str]]
    battery_ah: float | None = None
    battery_cells: int | None = None
    inverter_w: float | None = None
    lags_s: Mapping[str, Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.days:
            raise ValueError("checks look at one day at least")

    @property
    def span(self) -> Span:
        """All of the days."""
        return Span(self.days[0].start_ms, self.days[-1].end_ms)

    @property
    def now_ms(self) -> int:
        """The instant that the last day is looked at up to. [ms, UTC epoch]"""
        return self.days[-1].end_ms

    @property
    def sources(self) -> SeriesSources:
        """Powers and currents of the site, as the days' numbers are made of."""
        return SeriesSources(self.devices, self.site_series)

    def of_kind(self, kind: str) -> list[str]:
        """Return the devices of a kind that were ever there, by name."""
        return sorted(device for device in self.site_series if kind_of(device) == kind)

    def readings(self, device: str, quantity: str) -> Readings:
        """Return the readings of a quantity inside the days; empty where there are none."""
        found = self.devices.get(device)
        if found is None or quantity not in found.values:
            return np.empty(0, np.int64), np.empty(0)
        value = found.values[quantity]
        kept = (found.at_ms >= self.span.start_ms) & (found.at_ms < self.span.end_ms)
        kept &= ~np.isnan(value)
        return found.at_ms[kept], value[kept]

    def together(self, device: str, *quantities: str) -> list[Floats]:
        """Return the values of quantities in the rows of a device that have all of them."""
        found = self.devices.get(device)
        if found is None or any(quantity not in found.values for quantity in quantities):
            return [np.empty(0) for _ in quantities]
        kept: NDArray[np.bool_] = (found.at_ms >= self.span.start_ms) & (
            found.at_ms < self.span.end_ms
        )
        columns = [found.values[quantity] for quantity in quantities]
        for column in columns:
            kept = kept & ~np.isnan(column)
        return [column[kept] for column in columns]

    def line(self, device: str, quantity: str) -> Curve:
        """Return the curve of a quantity inside the days."""
        return curve(*self.readings(device, quantity))

    def share_of(self, device: str, rows: int) -> float:
        """Return which share of a device's rows so many are."""
        found = self.devices.get(device)
        return rows / found.at_ms.size if found is not None and found.at_ms.size else 0.0


def spoken(seconds: float) -> str:
    """Return a length of time in words, to two parts.

    Notes
    -----
    3725 s is ``1 h 2 min``, 47 s is ``47 s``, 200,000 s is ``2 d 8 h``.
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60} min"
    hours = round(minutes / 60)
    return f"{hours // 24} d {hours % 24} h"
