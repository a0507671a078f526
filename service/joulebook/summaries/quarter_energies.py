"""Energies of a site by quarter hours: stored means of power, corrected, held to the days' sums."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from joulebook.core import corrections as correcting
from joulebook.core.below_zero import impossible
from joulebook.core.corrections import Correction
from joulebook.core.daily.quarters import QUARTER_MS, Quarters
from joulebook.core.money.quarter_energy import (
    Floats,
    GridEnergy,
    MeanPower,
    held_to_days,
    net_by_quarters,
)
from joulebook.core.money.together import SiteEnergy
from joulebook.core.powers import POWER_RECIPES, Recipe
from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span, local_clock
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection, Database
from joulebook.storage.quarter_months import no_quarters
from joulebook.storage.quarters import read_quarters
from joulebook.storage.records import Site
from joulebook.summaries.results import day_results_of
from joulebook.summaries.stretches import series_names

_EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True)
class QuarterEnergies:
    """What a site's meters saw by quarter hours, and when each was.

    Attributes
    ----------
    start_ms : int64 array, shape (n,)
        [ms, UTC epoch]
    day : int64 array, shape (n,)
        The local day of each, in days since 1970-01-01.
    energy : SiteEnergy
        Each array of shape (n,).
    """

    start_ms: NDArray[np.int64]
    day: NDArray[np.int64]
    energy: SiteEnergy

    def within(self, span: Span) -> "QuarterEnergies":
        """Return those that begin in a span; they share memory."""
        part = slice(*np.searchsorted(self.start_ms, (span.start_ms, span.end_ms)))
        grid, energy = self.energy.grid, self.energy
        lines = {
            kind: None if line is None else _cut(line, part)
            for kind, line in (
                ("load", energy.load),
                ("pv", energy.pv),
                ("battery", energy.battery),
            )
        }
        return QuarterEnergies(
            self.start_ms[part],
            self.day[part],
            SiteEnergy(
                grid=None
                if grid is None
                else GridEnergy(
                    import_wh=grid.import_wh[part],
                    export_wh=grid.export_wh[part],
                    unsure_wh=grid.unsure_wh[part],
                    measured_ratio=grid.measured_ratio[part],
                ),
                **lines,
            ),
        )


def quarter_energies(database: Database, site: Site, span: Span) -> QuarterEnergies:
    """Return the energies of a span that begins at a local midnight."""
    with closing(database.connect()) as connection:
        reader = _Reader(connection, site, span)
        powers = {kind: reader.power(kind) for kind in ("grid", "load", "pv", "battery")}
        start_ms = reader.start_ms
    day, _ = local_clock(start_ms, site.zone)
    grid = powers["grid"]
    return QuarterEnergies(
        start_ms,
        day,
        SiteEnergy(
            grid=None if grid is None else _grid(database, site, day, net_by_quarters(grid)),
            load=powers["load"],
            pv=powers["pv"],
            battery=powers["battery"],
        ),
    )


def _grid(database: Database, site: Site, day: NDArray[np.int64], energy: GridEnergy) -> GridEnergy:
    """Hold energies bought and sold to what was integrated day by day."""
    if not day.size:
        return energy
    first, last = (date.fromordinal(_EPOCH + int(each)) for each in (day[0], day[-1]))
    sums = {
        name: np.full(int(day[-1] - day[0]) + 1, np.nan)
        for name in ("grid_import_wh", "grid_export_wh")
    }
    for result in day_results_of(database, site, first, last):
        for name, whole in sums.items():
            value = result.numbers[name].value
            whole[(result.date - first).days] = np.nan if value is None else value
    return held_to_days(energy, day - day[0], *sums.values())


class _Reader:
    """Reads the mean powers of a site's devices, corrected."""

    def __init__(self, connection: Connection, site: Site, span: Span) -> None:
        self._connection = connection
        self._site = site
        self._span = span
        self._names = series_names(connection, site)
        self._corrections = corrections_of(connection, site.id)
        self.start_ms = np.arange(span.start_ms, span.end_ms, QUARTER_MS, dtype=np.int64)

    def power(self, kind: str) -> MeanPower | None:
        """Return the power of all devices of a kind; ``None`` where the site has none."""
        devices = sorted(device for device in self._names if kind_of(device) == kind)
        lines = [self._device(device, kind) for device in devices]
        if len(lines) < 2:
            return lines[0] if lines else None
        return MeanPower(
            mean_w=np.sum([line.mean_w for line in lines], axis=0),
            low_w=np.sum([line.low_w for line in lines], axis=0),
            high_w=np.sum([line.high_w for line in lines], axis=0),
            measured_ratio=np.min([line.measured_ratio for line in lines], axis=0),
        )

    def _device(self, device: str, kind: str) -> MeanPower:
        recipe = next(
            (one for one in POWER_RECIPES[kind] if self._names[device].issuperset(one.needs)), None
        )
        if recipe is None:
            nothing = np.full(self.start_ms.size, np.nan)
            return MeanPower(
                mean_w=nothing,
                low_w=nothing,
                high_w=nothing,
                measured_ratio=np.zeros(self.start_ms.size),
            )
        line = _made(recipe, [self._corrected(device, name) for name in recipe.needs])
        if kind in ("pv", "load"):
            wrong = impossible(line.mean_w)
            line = _without(line, wrong) if wrong.any() else line
        return line

    def _corrected(self, device: str, quantity: str) -> MeanPower:
        """Return the means of one series as its corrections make them.

        A mean changes as readings do. Quarter hours in which a correction begins or ends are left
        out: of them a part is corrected, and it is not known which part of the mean.
        """
        found = read_quarters(
            self._connection, self._site.id, device, self._span, quantities=[quantity]
        ).quantities
        quarters = found.get(quantity) or no_quarters(self._span)
        mean, low, high = (
            correcting.apply(self._corrections, device, quantity, quarters.start_ms, each)
            for each in (quarters.mean, quarters.low, quarters.high)
        )
        line = MeanPower(
            mean_w=mean,
            low_w=np.minimum(low, high),
            high_w=np.maximum(low, high),
            measured_ratio=np.where(np.isnan(mean), 0.0, quarters.covered_ms / QUARTER_MS),
        )
        cut = _cut_by(self._corrections, device, quantity, quarters)
        return _without(line, cut) if cut.any() else line


def _made(recipe: Recipe, parts: Sequence[MeanPower]) -> MeanPower:
    """Return the power that a recipe makes of means; a product of means is nearly their mean."""
    mean = recipe.make(*(part.mean_w for part in parts))
    alone = len(parts) == 1
    return MeanPower(
        mean_w=mean,
        low_w=parts[0].low_w if alone else mean,
        high_w=parts[0].high_w if alone else mean,
        measured_ratio=np.min([part.measured_ratio for part in parts], axis=0),
    )


def _cut_by(
    corrections: Sequence[Correction], device: str, quantity: str, quarters: Quarters
) -> NDArray[np.bool_]:
    """Return in which quarter hours a correction of the series begins or ends."""
    cut = np.zeros(quarters.start_ms.size, dtype=np.bool_)
    for each in corrections:
        for at_ms in (each.from_ms, each.to_ms):
            if (each.device, each.quantity) == (device, quantity) and at_ms is not None:
                inside = (quarters.start_ms < at_ms) & (at_ms < quarters.start_ms + QUARTER_MS)
                cut |= inside
    return cut


def _without(line: MeanPower, left_out: NDArray[np.bool_]) -> MeanPower:
    return MeanPower(
        mean_w=np.where(left_out, np.nan, line.mean_w),
        low_w=line.low_w,
        high_w=line.high_w,
        measured_ratio=np.where(left_out, 0.0, line.measured_ratio),
    )


def _cut(line: MeanPower, part: slice) -> MeanPower:
    values: list[Floats] = [
        each[part] for each in (line.mean_w, line.low_w, line.high_w, line.measured_ratio)
    ]
    return MeanPower(mean_w=values[0], low_w=values[1], high_w=values[2], measured_ratio=values[3])
