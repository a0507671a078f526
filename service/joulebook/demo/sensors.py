"""What the studio's instruments make of the truth: gain, offset, noise, and what they show.

The errors are common practice, no source: about 1 % for clamps and shunts, a zero that is a
little off, a voltmeter better than that.
"""

import numpy as np

from joulebook.demo.noise import bell
from joulebook.demo.plant import Truth
from joulebook.demo.studio import BATTERY_AH, BATTERY_CELLS
from joulebook.demo.sun import Floats

#: Values by device and quantity; a value is one array, shape (n,).
Seen = dict[str, dict[str, Floats]]

_LUG_OHM = 0.0009
_STRING_V = 124.0  # four panels at their best, at 25 °C
_STRING_PER_DEGREE = -0.0029
_SLEEPS_W = 3.0  # below it a panel input shows nothing
_CREEP_W = 8.0  # below it a revenue meter does not count

#: Decimal places that an instrument shows; -1 is steps of ten.
PLACES: dict[str, dict[str, int]] = {
    "battery": {
        "voltage": 1,
        "current": 1,
        "power": 0,
        "soc": 2,
        "soh": 2,
        "temperature": 1,
        "cell_voltage_min": 3,
        "cell_voltage_max": 3,
        "charge_energy": -1,
        "discharge_energy": -1,
    },
    "inverter": {"dc_voltage": 1, "dc_current": 1, "temperature": 1},
    "pv": {"power": 0, "energy": -1, "voltage": 1, "current": 1},
    "grid": {
        "power": 0,
        "import_energy": -1,
        "export_energy": -1,
        "voltage_l1": 1,
        "voltage_l2": 1,
        "frequency": 2,
    },
    "load": {"power": 0, "power_l1": 0, "power_l2": 0, "energy": -1},
    "ambient": {"temperature": 1},
}


def sense(truth: Truth) -> Seen:
    """Return what each instrument measures at the truth's instants, before it rounds."""
    return {
        "battery": _battery(truth),
        "inverter": _inverter(truth),
        "pv": _panels(truth),
        "grid": _grid(truth),
        "load": _load(truth),
        "ambient": {"temperature": truth.ambient_c + 0.4 + _noise(truth, "ambient", 0.1)},
    }


def counted_w(seen: Seen) -> Seen:
    """Return the power that each counter adds up: its own instrument's, errors and all. [W]"""
    battery_w, grid_w = seen["battery"]["power"], seen["grid"]["power"]
    return {
        "battery": {
            "charge_energy": np.maximum(battery_w, 0.0),
            "discharge_energy": np.maximum(-battery_w, 0.0),
        },
        "pv": {"energy": seen["pv"]["power"]},
        "grid": {
            "import_energy": np.where(grid_w > _CREEP_W, grid_w, 0.0),
            "export_energy": np.where(grid_w < -_CREEP_W, -grid_w, 0.0),
        },
        "load": {"energy": seen["load"]["power"]},
    }


def shown(seen: Seen) -> Seen:
    """Return the readings as the instruments show them, in :data:`QUANTITIES`' order."""
    return {
        device: {
            quantity: np.round(seen[device][quantity], places) for quantity, places in of.items()
        }
        for device, of in PLACES.items()
    }


def _noise(truth: Truth, name: str, deviation: float) -> Floats:
    return bell(truth.at_ms, name) * deviation


def _battery(truth: Truth) -> dict[str, Floats]:
    volts = truth.voltage_v * 1.0006 + _noise(truth, "battery.voltage", 0.015)
    warm_c = truth.battery_c - 25
    amps = truth.current_a * 0.993 + 0.12 + 0.003 * warm_c
    amps += _noise(truth, "battery.current", 0.08)
    cell_v = truth.voltage_v / BATTERY_CELLS
    # Cells part where the curve is steep: near full and near empty.
    apart_v = 0.003 + 0.05 * np.maximum(truth.charge_ratio - 0.96, 0.0) / 0.04
    apart_v += 0.04 * np.maximum(0.15 - truth.charge_ratio, 0.0) / 0.15
    return {
        "voltage": volts,
        "current": amps,
        "power": volts * amps,
        "soc": truth.claimed_ratio,
        "soh": np.minimum(truth.claimed_ah / BATTERY_AH, 1.0),
        "temperature": truth.battery_c + _noise(truth, "battery.temperature", 0.15),
        "cell_voltage_min": cell_v - 0.6 * apart_v + _noise(truth, "battery.cell_min", 0.0008),
        "cell_voltage_max": cell_v + 0.4 * apart_v + _noise(truth, "battery.cell_max", 0.0008),
    }


def _inverter(truth: Truth) -> dict[str, Floats]:
    dc_v = truth.voltage_v + _LUG_OHM * truth.current_a
    return {
        "dc_voltage": dc_v * 0.9992 + _noise(truth, "inverter.dc_voltage", 0.03),
        "dc_current": truth.current_a * 1.006 - 0.09 + _noise(truth, "inverter.dc_current", 0.12),
        "temperature": truth.shed_c
        + 5.0
        + 0.06 * truth.loss_w
        + _noise(truth, "inverter.temperature", 0.2),
    }


def _panels(truth: Truth) -> dict[str, Floats]:
    power_w = truth.pv_w * 0.991 + _noise(truth, "pv.power", 3.0)
    power_w = np.where(truth.pv_w > _SLEEPS_W, np.maximum(power_w, 0.0), 0.0)
    cell_c = truth.ambient_c + truth.pv_w / 100
    best_v = _STRING_V * (1 + _STRING_PER_DEGREE * (cell_c - 25))
    string_v = np.where(power_w > 0, best_v + _noise(truth, "pv.voltage", 0.6), 0.0)
    amps = np.divide(power_w, string_v, out=np.zeros_like(power_w), where=string_v > 0)
    return {"power": power_w, "voltage": string_v, "current": amps}


def _grid(truth: Truth) -> dict[str, Floats]:
    # The transformer at the road sags on both legs with what the studio takes or gives.
    sags_v = 0.0005 * truth.grid_w
    return {
        "power": truth.grid_w * 1.006 - 2.0 + _noise(truth, "grid.power", 2.5),
        "voltage_l1": 120.6 - sags_v + _noise(truth, "grid.voltage_l1", 0.35),
        "voltage_l2": 120.2 - sags_v + _noise(truth, "grid.voltage_l2", 0.35),
        "frequency": 60 + _noise(truth, "grid.frequency", 0.012),
    }


def _load(truth: Truth) -> dict[str, Floats]:
    l1_w = truth.load_l1_w * 1.008 + _noise(truth, "load.power_l1", 1.5)
    l2_w = truth.load_l2_w * 0.995 + _noise(truth, "load.power_l2", 1.5)
    l1_w, l2_w = np.maximum(l1_w, 0.0), np.maximum(l2_w, 0.0)
    return {"power": l1_w + l2_w, "power_l1": l1_w, "power_l2": l2_w}


def running_wh(before_wh: float, added_wh: Floats, restart_at: int | None) -> Floats:
    """Return a counter at the start of each step and at the end of the last, shape (n + 1,).

    It starts anew from zero at step ``restart_at``. Sums run in order, so that a history told in
    pieces is the same history.
    """
    if restart_at is None:
        return np.cumsum(np.concatenate(([before_wh], added_wh)))
    until = running_wh(before_wh, added_wh[:restart_at], None)[:restart_at]
    return np.concatenate((until, running_wh(0.0, added_wh[restart_at:], None)))
