"""A year as it was measured, and the equipment that a simulation of it has."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from joulebook.core.money.prices import Prices
from joulebook.core.money.quarter_energy import QUARTER_H, MeanPower
from joulebook.core.money.together import SiteEnergy
from joulebook.core.planning.dispatch import Course, Floats, Storage, simulate

#: A quarter hour measured for less of it is left out; the others are taken as whole. Our choice.
_LEAST_RATIO = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTime:
    """A year as it was measured, by quarter hours, shape (n,); NaN where one meter was silent.

    ``import_price`` and ``export_price`` are NaN where no tariff holds. [currency per kWh]
    """

    pv_wh: Floats
    load_wh: Floats
    import_wh: Floats
    export_wh: Floats
    import_price: Floats
    export_price: Floats

    @property
    def hours(self) -> float:
        """How much of it was measured by all meters at once. [h]"""
        return float(np.count_nonzero(self.known)) / 4

    @property
    def is_priced(self) -> bool:
        """Whether a tariff holds wherever all meters measured."""
        return not bool(np.isnan(self.import_price[self.known]).any())

    @property
    def known(self) -> NDArray[np.bool_]:
        """Where all meters measured, shape (n,)."""
        known: NDArray[np.bool_] = ~np.isnan(
            self.pv_wh + self.load_wh + self.import_wh + self.export_wh
        )
        return known


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """What the simulation needs to know of a house.

    Attributes
    ----------
    passed_ratio : float
        What the inverter passes on of DC energy. [ratio]
    storage : Storage or None
        The battery.
    round_trip : tuple of float, or None
        The 90 % interval of its round trip, where that is not known exactly. [ratio]
    """

    passed_ratio: float
    storage: Storage | None
    round_trip: tuple[float, float] | None = None

    def course(self, pv_wh: Floats, load_wh: Floats) -> Course:
        """Return how a time would have gone with it."""
        return simulate(pv_wh, load_wh, passed_ratio=self.passed_ratio, storage=self.storage)

    def doubtful(self) -> list["Equipment"]:
        """Return it with the ends of its round trip."""
        if self.storage is None or self.round_trip is None:
            return []
        return [
            replace(self, storage=replace(self.storage, round_trip_ratio=min(ratio, 1.0)))
            for ratio in self.round_trip
        ]


def measured_time(site: SiteEnergy, prices: Prices) -> MeasuredTime | None:
    """Return a time as it was measured, or ``None`` for a site without grid or load meter.

    A site without panels had nothing from them; panels that were silent are unknown.
    """
    if site.grid is None or site.load is None:
        return None
    known = site.grid.measured_ratio >= _LEAST_RATIO
    share = np.where(known, site.grid.measured_ratio, np.nan)
    load = whole_quarters(site.load)
    return MeasuredTime(
        pv_wh=np.zeros(load.size) if site.pv is None else whole_quarters(site.pv),
        load_wh=load,
        import_wh=site.grid.import_wh / share,
        export_wh=site.grid.export_wh / share,
        import_price=prices.import_price,
        export_price=prices.export_price,
    )


def whole_quarters(line: MeanPower) -> Floats:
    """Return the energy of quarter hours that were measured as good as whole, else NaN. [Wh]"""
    return np.where(line.measured_ratio >= _LEAST_RATIO, line.mean_w * QUARTER_H, np.nan)
