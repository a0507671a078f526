"""Prices by quarter hours, from the versions of a site's tariff; and the fixed fee of a span."""

import calendar
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from joulebook.core.money.tariff import DAY_MIN, QUARTER_MIN, Band, Season, Tariff
from joulebook.core.spans import Span, date_of, dates, local_clock, local_day

_EPOCH = date(1970, 1, 1).toordinal()
_SLOTS = DAY_MIN // QUARTER_MIN


@dataclass(frozen=True, slots=True)
class PricedBand:
    """A band of one version of the tariff, with the season that it belongs to."""

    tariff: Tariff
    season: Season
    band: Band


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices of quarter hours.

    Attributes
    ----------
    bands : tuple of PricedBand
        All bands of all versions.
    band : int64 array, shape (n,)
        Which of them holds; -1 where no version does.
    import_price, export_price : float64 arrays, shape (n,)
        NaN where no version holds. [currency per kWh]
    """

    bands: tuple[PricedBand, ...]
    band: NDArray[np.int64]
    import_price: NDArray[np.float64]
    export_price: NDArray[np.float64]

    @property
    def currencies(self) -> list[str]:
        """The currencies of the bands that hold somewhere."""
        used = np.unique(self.band[self.band >= 0])
        return sorted({self.bands[place].tariff.currency for place in used})


def version_on(tariffs: Sequence[Tariff], day: date) -> Tariff | None:
    """Return the version that holds on a date; ``tariffs`` are in the order of their first days."""
    place = bisect_right(tariffs, day, key=lambda each: each.from_day)
    return tariffs[place - 1] if place else None


def prices_of(tariffs: Sequence[Tariff], start_ms: NDArray[np.int64], zone: ZoneInfo) -> Prices:
    """Return the prices of quarter hours by the clock of the site.

    Parameters
    ----------
    tariffs : sequence of Tariff
        Versions, checked, in the order of their first days.
    start_ms : int64 array, shape (n,)
        Where the quarter hours begin. The offset of every zone today is a multiple of a quarter
        hour, so none lies in two bands. [ms, UTC epoch]
    """
    table = _Table()
    day, minute = local_clock(start_ms, zone)
    days, place = np.unique(day, return_inverse=True)
    rows = np.array(
        [table.row(tariffs, date.fromordinal(_EPOCH + int(each))) for each in days], dtype=np.int64
    )
    band = table.slots()[rows[place], minute // QUARTER_MIN] if days.size else place
    # The last price belongs to place -1: no version.
    bought, sold = (
        np.array([*(float(getattr(each.band, name)) for each in table.bands), np.nan])
        for name in ("import_price", "export_price")
    )
    return Prices(
        bands=tuple(table.bands), band=band, import_price=bought[band], export_price=sold[band]
    )


def fixed_fee(tariffs: Sequence[Tariff], span: Span, zone: ZoneInfo) -> tuple[float, float]:
    """Return what is paid in a span whether energy flows or not, and the share that has a tariff.

    A day's fee, and a day's part of its month's fee, count by the part of the day in the span.

    Returns
    -------
    fee, coverage_ratio : float
        [currency], [ratio]
    """
    fee, covered_s = 0.0, 0.0
    if not span.length_s:
        return 0.0, 1.0
    for day in dates(date_of(span.start_ms, zone), date_of(span.end_ms - 1, zone)):
        whole = local_day(day, zone)
        inside_ms = min(whole.end_ms, span.end_ms) - max(whole.start_ms, span.start_ms)
        tariff = version_on(tariffs, day)
        if tariff is None or inside_ms <= 0:  # a zone once skipped a date
            continue
        length = calendar.monthrange(day.year, day.month)[1]
        a_day = float(tariff.fixed_per_day) + float(tariff.fixed_per_month) / length
        fee += a_day * inside_ms / (whole.end_ms - whole.start_ms)
        covered_s += inside_ms / 1000
    return fee, min(covered_s / span.length_s, 1.0)


class _Table:
    """Which band holds in each quarter hour of the kinds of days that come up."""

    def __init__(self) -> None:
        self.bands: list[PricedBand] = []
        self._rows: list[NDArray[np.int64]] = [np.full(_SLOTS, -1, dtype=np.int64)]
        self._places: dict[tuple[int, int, str], int] = {}

    def row(self, tariffs: Sequence[Tariff], day: date) -> int:
        """Return the row of a date's kind of day; row 0 has no tariff."""
        tariff = version_on(tariffs, day)
        if tariff is None:
            return 0
        season, kind = tariff.season_of(day), tariff.kind_of(day)
        key = (id(tariff), id(season), kind)
        if key not in self._places:
            self._places[key] = len(self._rows)
            slots = np.full(_SLOTS, -1, dtype=np.int64)
            for band in season.bands:
                if kind in band.days:
                    place = self._place(PricedBand(tariff, season, band))
                    for part in band.minutes():
                        slots[part.start // QUARTER_MIN : part.stop // QUARTER_MIN] = place
            self._rows.append(slots)
        return self._places[key]

    def slots(self) -> NDArray[np.int64]:
        return np.stack(self._rows)

    def _place(self, priced: PricedBand) -> int:
        for place, each in enumerate(self.bands):
            if each.band is priced.band and each.tariff is priced.tariff:
                return place
        self.bands.append(priced)
        return len(self.bands) - 1
