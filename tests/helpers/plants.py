"""A house with a battery whose truth is known: what each device would report, second by second."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.days import DayInputs
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import Span, days_span, local_day
from joulebook.storage.records import Site

Values = dict[str, NDArray[np.float64]]

RATED_AH, CELLS, PACK_V = 200.0, 16, 52.0
IDLE_W, LOSS_PER_W = 30.0, 0.04


@dataclass(frozen=True, slots=True)
class Plant:
    """What the devices of a house report at common instants, and the true loss. [W]"""

    at_ms: NDArray[np.int64]
    devices: dict[str, Values]
    loss_w: NDArray[np.float64]

    def arrays(self, *without: str) -> dict[str, DeviceArrays]:
        """Return the readings of all devices but some."""
        return {
            name: DeviceArrays(self.at_ms, values)
            for name, values in self.devices.items()
            if name not in without
        }

    @property
    def series(self) -> dict[str, frozenset[str]]:
        """What each device reports."""
        return {name: frozenset(values) for name, values in self.devices.items()}


def plant(span: Span, *, step_s: int = 120, seed: int = 1) -> Plant:
    """Return readings from five minutes before a span to five after it.

    Sun from 6 to 18 h of the span's first day onwards, loads of 150 to 900 W, a battery that
    takes the surplus and gives what is missing, an inverter that draws 30 W and 4 % of what it
    turns over. By the balance, the grid takes the rest: nothing is left over but the loss.
    """
    random = np.random.default_rng(seed)
    at_ms = np.arange(span.start_ms - 300_000, span.end_ms + 300_001, step_s * 1000, dtype=np.int64)
    hour = (at_ms - span.start_ms) / 3_600_000 % 24
    pv = np.maximum(2800 * np.sin(np.pi * (hour - 6) / 12), 0.0)
    load = 150 + 750 * np.abs(np.sin(hour * 7)) * random.uniform(0.6, 1.0, hour.size)
    loss = IDLE_W + LOSS_PER_W * load
    battery = np.clip(pv - load - loss, -2000, 1000)
    grid = load + battery + loss - pv
    soc = 0.5 + np.concatenate([[0], np.cumsum(battery[:-1])]) * step_s / 3600 / 20_000
    return Plant(
        at_ms,
        {
            "battery": {
                "voltage": np.full(hour.size, PACK_V),
                "current": battery / PACK_V,
                "power": battery,
                "soc": np.clip(soc, 0.0, 1.0),
                "temperature": 22 + 3 * np.sin(np.pi * hour / 12),
            },
            "pv": {"power": pv},
            "grid": {"power": grid},
            "load": {"power": load},
        },
        loss,
    )


def day_inputs(
    day: date, site: Site, devices: Mapping[str, DeviceArrays], series: Mapping[str, frozenset[str]]
) -> DayInputs:
    """Return what a day of a site is computed from."""
    return DayInputs(
        day=day,
        span=local_day(day, site.zone),
        devices=devices,
        site_series=series,
        battery_ah=site.battery_ah,
        battery_cells=site.battery_cells,
    )


def site(**facts: object) -> Site:
    """Return a site that no database knows."""
    known = {
        "timezone": "America/Chicago",
        "battery_ah": RATED_AH,
        "battery_cells": CELLS,
        **facts,
    }
    return Site(id=1, name="studio", **known)  # type: ignore[arg-type]  # named by the tests


def plant_of_days(first: date, last: date, where: Site, **settings: int) -> Plant:
    """Return the plant over local days of a site."""
    return plant(days_span(first, last, where.zone), **settings)
