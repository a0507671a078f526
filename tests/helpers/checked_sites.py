"""A site that is wired and talking right, to plant single faults in: three days, each minute.

A small pottery studio: panels, a battery of 16 cells, an inverter and two legs. Its balance closes
with a loss of 4 % and 30 W, and 2 mΩ lie between battery and inverter.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.history import Floats, Instants
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import Span

RATED_AH, CELLS = 280.0, 16
DAYS = 3
DAY_MS = 86_400_000
START_MS = 1_780_012_800_000 // DAY_MS * DAY_MS
LUG_OHM, PACK_OHM = 0.002, 0.004

Values = dict[str, Floats]
Flags = NDArray[np.bool_]
Change = Callable[[Floats], Floats]


@dataclass(frozen=True)
class CheckedSite:
    """Instants of each minute, and what each device reports at them."""

    at_ms: Instants
    devices: dict[str, Values]

    def changed(self, device: str, **changes: Change) -> "CheckedSite":
        """Return the site with some quantities of a device put through functions."""
        values = dict(self.devices[device])
        for quantity, change in changes.items():
            values[quantity] = change(values[quantity].copy())
        return replace(self, devices={**self.devices, device: values})

    def without(self, *names: str) -> "CheckedSite":
        """Return the site without devices, or quantities as ``device.quantity``."""
        devices = {
            device: {
                quantity: value
                for quantity, value in values.items()
                if f"{device}.{quantity}" not in names
            }
            for device, values in self.devices.items()
            if device not in names
        }
        return replace(self, devices=devices)

    def inputs(
        self,
        *,
        rated: bool = True,
        keep: Callable[[str, Instants], Flags] | None = None,
        lags_s: dict[str, Floats] | None = None,
    ) -> CheckInputs:
        """Return what the checks look at.

        Parameters
        ----------
        rated : bool
            Whether the owner entered ratings.
        keep : callable, optional
            Of a device's name and instants: which rows arrived.
        """
        arrived = {
            device: np.ones(self.at_ms.size, np.bool_) if keep is None else keep(device, self.at_ms)
            for device in self.devices
        }
        return CheckInputs(
            days=tuple(
                Span(START_MS + day * DAY_MS, START_MS + (day + 1) * DAY_MS) for day in range(DAYS)
            ),
            devices={
                device: DeviceArrays(
                    self.at_ms[arrived[device]],
                    {name: value[arrived[device]] for name, value in values.items()},
                )
                for device, values in self.devices.items()
            },
            site_series={device: frozenset(values) for device, values in self.devices.items()},
            battery_ah=RATED_AH if rated else None,
            battery_cells=CELLS if rated else None,
            inverter_w=6000.0 if rated else None,
            lags_s=lags_s or {},
        )


def sound_site() -> CheckedSite:
    """Return the site without a fault; always the same."""
    rng = np.random.default_rng(20)
    minute = np.arange(DAYS * 1440)
    hour = minute / 60 % 24
    pv = 3300 * np.clip(np.sin((hour - 6.2) / 13.6 * np.pi), 0, None) * (hour > 6.2) * (hour < 19.8)
    pv = np.round(pv * np.repeat(rng.uniform(0.5, 1, minute.size // 10), 10))
    legs = [
        np.round(
            np.repeat(rng.uniform(*span, minute.size // 15), 15) + rng.normal(0, 4, minute.size)
        )
        for span in ((80, 900), (60, 500))
    ]
    load = legs[0] + legs[1]
    loss = 30 + 0.04 * load
    wanted = pv - load - loss
    # The grid takes what the battery does not: an import at night, an export at noon.
    battery = np.round(
        np.where((hour > 1) & (hour < 5), 0.3 * wanted, np.clip(wanted, -2500, 1500))
    )
    grid = np.round(load + battery + loss - pv)
    amps = battery / 52.0
    charge = np.cumsum(amps) / 60
    soc = np.clip(0.6 + (charge - charge.mean()) / RATED_AH, 0.05, 1)
    volts = 52.0 + 1.5 * (soc - 0.6) + PACK_OHM * amps + rng.normal(0, 0.004, minute.size)
    wobble = rng.normal(0, 0.4, minute.size)
    devices = {
        "battery": {
            "voltage": np.round(volts, 2),
            "current": np.round(battery / volts, 2),
            "power": battery,
            "soc": np.round(soc, 2),
            "temperature": np.round(24 + 3 * np.sin(hour / 24 * 2 * np.pi), 1),
            "charge_energy": _counter(np.maximum(battery, 0)),
            "discharge_energy": _counter(np.maximum(-battery, 0)),
        },
        "inverter": {
            "dc_voltage": np.round(volts + LUG_OHM * amps + 0.05, 2),
            "temperature": np.round(30 + 0.003 * load, 1),
        },
        "pv": {
            "power": pv,
            "voltage": np.where(pv > 0, 350.0 + np.round(wobble), 0.0),
            "current": pv / (350.0 + np.round(wobble)),
            "energy": _counter(pv),
        },
        "grid": {
            "power": grid,
            "import_energy": _counter(np.maximum(grid, 0)),
            "export_energy": _counter(np.maximum(-grid, 0)),
            "voltage_l1": np.round(120.1 + wobble + rng.normal(0, 0.1, minute.size), 1),
            "voltage_l2": np.round(120.0 + wobble + rng.normal(0, 0.1, minute.size), 1),
            "frequency": np.round(60 + rng.normal(0, 0.01, minute.size), 2),
        },
        "load": {
            "power": load,
            "power_l1": legs[0],
            "power_l2": legs[1],
            "energy": _counter(load),
        },
    }
    return CheckedSite(START_MS + minute * 60_000, devices)


def _counter(power_w: Floats) -> Floats:
    """Return a counter of power in tens of watt-hours, as register counters are."""
    counted: Floats = 50_000 + np.floor(np.cumsum(power_w) / 60 / 10) * 10
    return counted
