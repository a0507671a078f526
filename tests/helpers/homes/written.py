"""A home's readings as the CSV file that ``joulebook import`` takes."""

import csv
from pathlib import Path

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.home import Home

COLUMNS = (
    "battery.voltage [V]",
    "battery.current [A]",
    "battery.power [W]",
    "battery.soc [/]",
    "battery.soh [/]",
    "battery.temperature [Cel]",
    "battery.charge_energy [Wh]",
    "battery.discharge_energy [Wh]",
    "pv.power [W]",
    "grid.power [W]",
    "load.power [W]",
)


def write_csv(home: Home, path: Path, *, from_ms: int = 0, to_ms: int = 2**62) -> int:
    """Write the readings of a span; return how many lines. Missing values are empty cells."""
    history, powers = home.history, home.powers
    charged, discharged = home.counters_wh
    columns: tuple[tuple[Floats, int], ...] = (
        (history.voltage_v, 3),
        (history.current_a, 2),
        (home.battery_w, 1),
        (home.soc_ratio, 2),
        (home.soh_ratio, 2),
        (history.temperature_c, 2),
        (charged, 0),
        (discharged, 0),
        (powers.pv_w, 0),
        (powers.grid_w, 0),
        (powers.load_w, 0),
    )
    rows = np.flatnonzero((history.at_ms >= from_ms) & (history.at_ms < to_ms))
    shown = [
        ["" if np.isnan(value) else f"{value:.{places}f}" for value in values[rows].tolist()]
        for values, places in columns
    ]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("time", *COLUMNS))
        writer.writerows(zip((history.at_ms[rows] // 1000).tolist(), *shown, strict=True))
    return int(rows.size)
