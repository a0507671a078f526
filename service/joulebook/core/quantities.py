"""The words of the house: device kinds, quantities, their canonical units and signs.

``docs/vocabulary.md`` is the page for people; a test holds the two together.
"""

from dataclasses import dataclass
from typing import Literal

ValueKind = Literal["number", "text", "flag"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """What a device kind reports under one name."""

    unit: str  # RFC 8428 or RFC 8798 name of the canonical unit; "1/0..1" ratios are "/"
    counter: bool = False  # rises for ever; its differences are the energy
    never_negative: bool = False


_V = Quantity(unit="V")
_A = Quantity(unit="A")
_W = Quantity(unit="W")
_RATIO = Quantity(unit="/", never_negative=True)
_CEL = Quantity(unit="Cel")
_WH = Quantity(unit="Wh", counter=True, never_negative=True)
_POWER_OUT = Quantity(unit="W", never_negative=True)

#: Quantities by device kind. Battery power and current are positive while charging, grid power
#: is positive while importing: ``pv + grid = load + battery + loss``.
QUANTITIES: dict[str, dict[str, Quantity]] = {
    "battery": {
        "voltage": _V,
        "current": _A,
        "power": _W,
        "soc": _RATIO,
        "soh": _RATIO,
        "temperature": _CEL,
        "cell_voltage_min": _V,
        "cell_voltage_max": _V,
        "charge_energy": _WH,
        "discharge_energy": _WH,
    },
    "inverter": {"dc_voltage": _V, "dc_current": _A, "temperature": _CEL},
    "pv": {"power": _POWER_OUT, "energy": _WH, "voltage": _V, "current": _A},
    "grid": {
        "power": _W,
        "import_energy": _WH,
        "export_energy": _WH,
        "voltage_l1": _V,
        "voltage_l2": _V,
        "frequency": Quantity(unit="Hz"),
    },
    "load": {"power": _POWER_OUT, "power_l1": _POWER_OUT, "power_l2": _POWER_OUT, "energy": _WH},
    "ambient": {"temperature": _CEL},
}

#: How the canonical units end a field's name in code and JSON.
SUFFIXES = {
    "V": "v",
    "A": "a",
    "W": "w",
    "Wh": "wh",
    "Ah": "ah",
    "Cel": "c",
    "/": "ratio",
    "Hz": "hz",
}


def kind_of(device: str) -> str:
    """Return the kind of a device: its name without the suffix, ``battery-2`` → ``battery``."""
    return device.partition("-")[0]


def quantity_of(device: str, quantity: str) -> Quantity | None:
    """Return what the house knows of a quantity, or ``None`` where it knows nothing."""
    return QUANTITIES.get(kind_of(device), {}).get(quantity)
