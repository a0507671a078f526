"""Quarter hours in which all of a site's powers were measured together, with their prices."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.money.prices import Prices
from joulebook.core.money.quarter_energy import QUARTER_H, Floats, GridEnergy, MeanPower


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteEnergy:
    """What a site's meters saw by quarter hours; ``None`` where it has no such device.

    All of them have the same quarter hours.
    """

    grid: GridEnergy | None
    load: MeanPower | None
    pv: MeanPower | None
    battery: MeanPower | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Energies of the time that was measured by all at once and has a price, shape (n,).

    Attributes
    ----------
    import_wh, export_wh, load_wh, pv_wh, battery_wh : float64 arrays
        ``pv_wh`` and ``battery_wh`` (net, positive into it) are 0 for a site without. [Wh]
    load_w, pv_w : pairs of float64 arrays
        The least and the greatest reading of each quarter hour. [W]
    import_price, export_price : float64 arrays
        [currency per kWh]
    measured_h : float64 array
        The time of each that they speak of. [h]
    ratio : float
        That time as a share of the span.
    used : bool array, shape (m,)
        Which of the span's quarter hours these are.
    """

    import_wh: Floats
    export_wh: Floats
    load_wh: Floats
    pv_wh: Floats
    battery_wh: Floats
    load_w: tuple[Floats, Floats]
    pv_w: tuple[Floats, Floats]
    import_price: Floats
    export_price: Floats
    measured_h: Floats
    ratio: float
    used: NDArray[np.bool_]


def together(site: SiteEnergy, prices: Prices, *, quarters: float) -> Together | None:
    """Return the common quarter hours, or ``None`` for a site without grid or load meter.

    Where one of them was measured for less of a quarter hour than another, all count for the
    least.
    """
    if site.grid is None or site.load is None:
        return None
    lines = [line for line in (site.load, site.pv, site.battery) if line is not None]
    ratio = np.minimum.reduce([site.grid.measured_ratio, *(line.measured_ratio for line in lines)])
    used = (ratio > 0) & (prices.band >= 0)
    kept = ratio[used]
    grid_share = kept / site.grid.measured_ratio[used]

    def energy(line: MeanPower | None) -> Floats:
        if line is None:
            return np.zeros(kept.size)
        wh: Floats = line.energy_wh()[used] * (kept / line.measured_ratio[used])
        return wh

    def ends(line: MeanPower | None) -> tuple[Floats, Floats]:
        if line is None:
            return np.zeros(kept.size), np.zeros(kept.size)
        return line.low_w[used], line.high_w[used]

    return Together(
        import_wh=site.grid.import_wh[used] * grid_share,
        export_wh=site.grid.export_wh[used] * grid_share,
        load_wh=energy(site.load),
        pv_wh=energy(site.pv),
        battery_wh=energy(site.battery),
        load_w=ends(site.load),
        pv_w=ends(site.pv),
        import_price=prices.import_price[used],
        export_price=prices.export_price[used],
        measured_h=kept * QUARTER_H,
        ratio=min(float(kept.sum()) / quarters, 1.0) if quarters else 0.0,
        used=used,
    )
