"""What a site's loads are told from: its readings, corrected, a week or some minutes at a time."""

from collections.abc import Iterator, Sequence

import numpy as np

from joulebook.core import corrections as correcting
from joulebook.core.checks.inputs import Readings
from joulebook.core.curves import MAX_GAP_S, Curve, total
from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.history import Floats
from joulebook.core.loads.outages import AWAY_RATIO, Away, away_in, higher_leg
from joulebook.core.powers import DeviceArrays, SeriesSources
from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.periods import weeks
from joulebook.storage.quarters import read_quarters
from joulebook.storage.reading import read_device
from joulebook.storage.records import DeviceReadings, Site
from joulebook.summaries.stretches import series_names

_NOTHING: Readings = (np.empty(0, np.int64), np.empty(0))


class LoadReadings:
    """Reads what loads, grid and battery reported, for as long as a connection is open."""

    def __init__(self, connection: Connection, site: Site) -> None:
        self._connection = connection
        self._site = site
        self._names = series_names(connection, site)
        self._corrections = corrections_of(connection, site.id)

    def has(self, kind: str) -> bool:
        """Tell whether the site ever had a device of a kind."""
        return bool(self._of_kind(kind))

    def power(self, kind: str, span: Span) -> Curve | None:
        """Return a power in a span and five minutes around it, ``None`` where there is none. [W]"""
        if not self.has(kind):
            return None
        return self._sources((kind,), span).power(kind).line

    def loads(self, span: Span) -> tuple[Curve, tuple[Curve, Curve] | None] | None:
        """Return the load and its legs in a span and five minutes around it. [W]"""
        if not self.has("load"):
            return None
        sources = self._sources(("load",), span)
        line = sources.power("load").line
        assert line is not None  # the site has a load
        legs = [sources.each("load", leg) for leg in ("power_l1", "power_l2")]
        if any(len(each) < len(self._of_kind("load")) for each in legs):
            return line, None
        return line, (total(legs[0]), total(legs[1]))

    def weeks_of_loads(
        self, span: Span
    ) -> Iterator[tuple[Span, Curve, tuple[Curve, Curve] | None]]:
        """Yield a span week by week, with the load and its legs."""
        for week in weeks(span):
            part = Span(max(week.start_ms, span.start_ms), min(week.end_ms, span.end_ms))
            found = self.loads(part)
            if found is not None:
                yield part, *found

    def battery(self, quantity: str, span: Span) -> Readings:
        """Return a quantity of the first battery that reports it; empty where none does."""
        for device in self._of_kind("battery"):
            if quantity in self._names[device]:
                return _there(self._read(device, span, (quantity,)), quantity)
        return _NOTHING

    def current(self, span: Span) -> Readings:
        """Return the current of all batteries together. [A]"""
        if not self.has("battery"):
            return _NOTHING
        line = self._sources(("battery",), span).battery_current().line
        return _NOTHING if line is None else (line.at_ms, line.value)

    def grid_level(self) -> tuple[str, tuple[str, ...]] | None:
        """Return the device and the quantities that tell whether the grid is there."""
        for wanted in (("voltage_l1", "voltage_l2"), ("frequency",)):
            for device in self._of_kind("grid"):
                found = tuple(name for name in wanted if name in self._names[device])
                if found:
                    return device, found
        return None

    def away(self, span: Span) -> tuple[list[Away], float]:
        """Return when the grid was away, and for which share of the span it was measured.

        The quarter hours tell where to look: a reading that is away lies in one whose least is.
        """
        level = self.grid_level()
        assert level is not None  # the caller has asked
        device, names = level
        found = read_quarters(
            *(self._connection, self._site.id, device, span), quantities=names
        ).quantities
        means = higher_leg([found[name].mean for name in names])
        if not np.any(~np.isnan(means)):
            return [], 0.0
        # An outage of weeks must not become what is usual.
        usual = float(np.nanquantile(means, 0.9))
        least = higher_leg([found[name].low for name in names])
        starts_ms = found[names[0]].start_ms
        low = np.flatnonzero(least < AWAY_RATIO * usual)
        covered_ms = max(int(found[name].covered_ms.sum()) for name in names)
        away = [
            each
            for part in _stretches(starts_ms[low].tolist())
            for each in self._away_closely(device, names, part, usual)
        ]
        inside = [each for each in away if each.span.start_ms < span.end_ms]
        return inside, min(covered_ms / max(span.end_ms - span.start_ms, 1), 1.0)

    def _away_closely(
        self, device: str, names: tuple[str, ...], span: Span, usual: float
    ) -> list[Away]:
        """Look at a span reading by reading, without those that a correction excludes.

        A correction of scale would move the level away from what is usual in the quarter hours,
        which are of readings as they came.
        """
        came, corrected = self._raw(device, span, names), self._read(device, span, names)
        legs = [
            np.where(np.isnan(corrected.values[name]), np.nan, came.values[name]) for name in names
        ]
        return away_in(came.at_ms, higher_leg(legs), usual)

    def _sources(self, kinds: Sequence[str], span: Span) -> SeriesSources:
        names = {
            device: quantities
            for device, quantities in self._names.items()
            if kind_of(device) in kinds
        }
        return SeriesSources({device: self._read(device, span) for device in names}, names)

    def _read(
        self, device: str, span: Span, quantities: tuple[str, ...] | None = None
    ) -> DeviceArrays:
        """Return the corrected readings of a device, five minutes around the span too."""
        read = self._raw(device, span, quantities or _USED[kind_of(device)])
        return DeviceArrays(
            read.at_ms,
            {
                name: correcting.apply(self._corrections, device, name, read.at_ms, values)
                for name, values in read.values.items()
            },
        )

    def _raw(self, device: str, span: Span, quantities: tuple[str, ...]) -> DeviceReadings:
        """Return the readings of a device as they came, five minutes around the span too."""
        return read_device(
            *(self._connection, self._site.id, device, span),
            quantities=quantities,
            margin_ms=round(MAX_GAP_S * 1000),
        )

    def _of_kind(self, kind: str) -> list[str]:
        return sorted(device for device in self._names if kind_of(device) == kind)


#: What powers and currents are made of; other quantities need not be read.
_USED = {
    "load": ("power", "power_l1", "power_l2"),
    "pv": ("power", "voltage", "current"),
    "battery": ("power", "voltage", "current"),
    "grid": ("power",),
}


def _there(read: DeviceArrays, quantity: str) -> Readings:
    values: Floats = read.values[quantity]
    there = ~np.isnan(values)
    return read.at_ms[there], values[there]


def _stretches(starts_ms: list[int]) -> list[Span]:
    """Return quarter hours that follow one another as spans, one more on either side."""
    spans: list[Span] = []
    for start_ms in starts_ms:
        wide = Span(start_ms - QUARTER_MS, start_ms + 2 * QUARTER_MS)
        if spans and wide.start_ms <= spans[-1].end_ms:
            spans[-1] = Span(spans[-1].start_ms, wide.end_ms)
        else:
            spans.append(wide)
    return spans
