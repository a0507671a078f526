"""Tariffs and quarter hours of round numbers, to price by hand."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.money.quarter_energy import Floats, GridEnergy, MeanPower
from joulebook.core.money.tariff import Band, Season, Tariff
from joulebook.core.spans import Span, days_span

Instants = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

NIGHT = Band(
    from_minute=0, to_minute=360, import_price=Decimal("0.10"), export_price=Decimal("0.02")
)
DAY = Band(
    from_minute=360, to_minute=1440, import_price=Decimal("0.30"), export_price=Decimal("0.05")
)


def two_bands(from_day: date = date(2020, 1, 1), *, fixed_per_month: str = "0") -> Tariff:
    """Return a tariff of 0.10 from midnight to 06:00 and 0.30 for the rest of the day."""
    return Tariff(
        currency="EUR",
        from_day=from_day,
        fixed_per_month=Decimal(fixed_per_month),
        seasons=(Season(bands=(NIGHT, DAY)),),
    )


def quarters_of(first: date, last: date, zone: ZoneInfo) -> tuple[Span, Instants]:
    """Return the span of local days and where its quarter hours begin. [ms, UTC epoch]"""
    span = days_span(first, last, zone)
    return span, np.arange(span.start_ms, span.end_ms, QUARTER_MS, dtype=np.int64)


def grid_energy(
    import_wh: Sequence[float] | Floats,
    export_wh: Sequence[float] | Floats | None = None,
    *,
    measured: Sequence[float] | Floats | None = None,
    unsure: float = 0.0,
) -> GridEnergy:
    """Return energies bought and sold, measured throughout unless said otherwise."""
    bought = np.asarray(import_wh, dtype=np.float64)
    sold = np.zeros(bought.size) if export_wh is None else np.asarray(export_wh, dtype=np.float64)
    ratio = np.ones(bought.size) if measured is None else np.asarray(measured, dtype=np.float64)
    return GridEnergy(
        import_wh=bought,
        export_wh=sold,
        unsure_wh=np.full(bought.size, unsure),
        measured_ratio=ratio,
    )


def mean_power(
    mean_w: Sequence[float] | Floats,
    low_w: Sequence[float] | Floats | None = None,
    high_w: Sequence[float] | Floats | None = None,
    *,
    measured: float = 1.0,
) -> MeanPower:
    """Return mean powers; a NaN was not measured."""
    mean = np.asarray(mean_w, dtype=np.float64)
    return MeanPower(
        mean_w=mean,
        low_w=mean if low_w is None else np.asarray(low_w, dtype=np.float64),
        high_w=mean if high_w is None else np.asarray(high_w, dtype=np.float64),
        measured_ratio=np.where(np.isnan(mean), 0.0, measured),
    )
