"""Which points of which models are which of our quantities."""

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook_bridge.sunspec.models import Point, is_scaled, points, value
from joulebook_bridge.sunspec.walk import Model

#: Charge status of models 124 and 802.
DISCHARGING, CHARGING = 3, 4


@dataclass(frozen=True, slots=True)
class Target:
    """A quantity of ours that a point may be."""

    device: str
    quantity: str
    unit: str
    divide_by: int = 1
    sign_of: str = ""  # the point that lends its sign


def _ratio(quantity: str) -> Target:
    return Target("battery", quantity, "/", 100)


def _battery(quantity: str, unit: str) -> Target:
    return Target("battery", quantity, unit)


def _inverter(quantity: str, unit: str) -> Target:
    return Target("inverter", quantity, unit)


_AC_INVERTER = {
    "DCV": _inverter("dc_voltage", "V"),
    # An unsigned current: the power beside it runs from direct to alternating current where it is
    # positive, so it tells which way.
    "DCA": Target("inverter", "dc_current", "A", sign_of="DCW"),
    "TmpCab": _inverter("temperature", "Cel"),
    "W": _inverter("ac_power", "W"),
    "PhVphA": _inverter("ac_voltage_l1", "V"),
    "PhVphB": _inverter("ac_voltage_l2", "V"),
    "Hz": _inverter("frequency", "Hz"),
    "WH": _inverter("ac_energy", "Wh"),
}

#: By model. Of two points for one quantity the first counts, so the better known come first.
_TARGETS: dict[int, dict[str, Target]] = {
    802: {
        "V": _battery("voltage", "V"),
        "A": _battery("current", "A"),
        "W": _battery("power", "W"),
        "SoC": _ratio("soc"),
        "SoH": _ratio("soh"),
        "CellVMin": _battery("cell_voltage_min", "V"),
        "CellVMax": _battery("cell_voltage_max", "V"),
        "NCyc": _battery("cycles", "count"),
        "ChaSt": _battery("charge_status", ""),
    },
    803: {
        "ModTmpAvg": _battery("temperature", "Cel"),
        "ModTmpMin": _battery("module_temperature_min", "Cel"),
        "ModTmpMax": _battery("module_temperature_max", "Cel"),
    },
    804: {
        "V": _battery("voltage", "V"),
        "SoC": _ratio("soc"),
        "SoH": _ratio("soh"),
        "CellVMin": _battery("cell_voltage_min", "V"),
        "CellVMax": _battery("cell_voltage_max", "V"),
        "ModTmpAvg": _battery("temperature", "Cel"),
    },
    805: {
        "V": _battery("voltage", "V"),
        "SoC": _ratio("soc"),
        "SoH": _ratio("soh"),
        "CellVMin": _battery("cell_voltage_min", "V"),
        "CellVMax": _battery("cell_voltage_max", "V"),
        "CellTmpAvg": _battery("temperature", "Cel"),
    },
    713: {
        "SoC": _ratio("soc"),
        "SoH": _ratio("soh"),
        # Reckoned by the battery from its own two ratios: shown, and no evidence of capacity.
        "WHAvail": _battery("available_energy", "Wh"),
    },
    124: {
        "ChaState": _ratio("soc"),
        "InBatV": _battery("voltage", "V"),
        "ChaSt": _battery("charge_status", ""),
    },
    701: {
        "W": _inverter("ac_power", "W"),
        "VL1": _inverter("ac_voltage_l1", "V"),
        "VL2": _inverter("ac_voltage_l2", "V"),
        "Hz": _inverter("frequency", "Hz"),
        "TotWhInj": _inverter("ac_energy", "Wh"),
        "TotWhAbs": _inverter("ac_energy_taken", "Wh"),
        "TmpCab": _inverter("temperature", "Cel"),
    },
    101: _AC_INVERTER,
    102: _AC_INVERTER,
    103: _AC_INVERTER,
    111: _AC_INVERTER,
    112: _AC_INVERTER,
    113: _AC_INVERTER,
    122: {"ActWh": _inverter("ac_energy", "Wh")},
}
_ORDER = tuple(_TARGETS)

#: Port types of model 714: panels, and a store of energy.
_PORTS: dict[int, dict[str, Target]] = {
    0: {
        "DCW": Target("pv", "power", "W"),
        "DCV": Target("pv", "voltage", "V"),
        "DCA": Target("pv", "current", "A"),
        "DCWhInj": Target("pv", "energy", "Wh"),
    },
    1: {
        "DCV": _battery("voltage", "V"),
        "DCA": _battery("current", "A"),
        "DCW": _battery("power", "W"),
        # Injected is what the port gives to the inverter, absorbed what it takes from it.
        "DCWhInj": _battery("discharge_energy", "Wh"),
        "DCWhAbs": _battery("charge_energy", "Wh"),
        "Tmp": _battery("temperature", "Cel"),
    },
}


@dataclass(frozen=True, slots=True)
class Match:
    """A point that is a quantity of ours.

    Attributes
    ----------
    value : float or None
        What it read at the scan, in the quantity's unit and with the equipment's sign.
    """

    model: Model
    point: Point
    target: Target
    value: float | None
    sign_at: Point | None = None


def matches(models: Sequence[Model]) -> list[Match]:
    """Return what can be read from a unit, one point for each quantity."""
    found = [match for model in _in_order(models) for match in _matches(model)]
    found += [match for model in models if model.id == 714 for match in _port_matches(model)]
    chosen: dict[tuple[str, str], Match] = {}
    for match in found:
        key = (match.target.device, match.target.quantity)
        # A point that gives nothing now may do so later; one that does now comes before it.
        if key not in chosen or (chosen[key].value is None and match.value is not None):
            chosen[key] = match
    return list(chosen.values())


def _in_order(models: Sequence[Model]) -> list[Model]:
    known = [model for model in models if model.id in _TARGETS]
    return sorted(known, key=lambda model: _ORDER.index(model.id))


def _matches(model: Model) -> list[Match]:
    found = points(model)
    return [
        match
        for name, target in _TARGETS[model.id].items()
        if (match := _match(model, found, name, target)) is not None
    ]


def _match(model: Model, found: dict[str, Point], name: str, target: Target) -> Match | None:
    point = found.get(name)
    if point is None or not is_scaled(model, point):
        return None
    raw = value(model, point)
    scaled = None if raw is None else raw / target.divide_by
    sign_at = found.get(target.sign_of)
    if target.sign_of and sign_at is None:
        return None
    return Match(model, point, target, scaled, sign_at)


def _port_matches(model: Model) -> list[Match]:
    found = points(model)
    seen: dict[int, int] = {}
    result = []
    for name in found:
        if not name.endswith(".PrtTyp"):
            continue
        prefix = name.removesuffix("PrtTyp")
        kind = value(model, found[name])
        targets = _PORTS.get(int(kind), {}) if kind is not None else {}
        if not targets:
            continue
        number = seen[int(kind or 0)] = seen.get(int(kind or 0), 0) + 1
        for point_name, target in targets.items():
            device = target.device if number == 1 else f"{target.device}-{number}"
            own = Target(device, target.quantity, target.unit)
            match = _match(model, found, prefix + point_name, own)
            if match is not None:
                result.append(match)
    return result


def charging_is_positive(match: Match, models: Sequence[Model]) -> bool | None:
    """Tell whether the equipment counts charging as positive; ``None`` where nobody can say yet.

    Models 124 and 802 say in words whether the battery is charging; the sign that its current has
    at that moment is then the sign of charging. SunSpec leaves it undefined.
    """
    if match.target.sign_of:
        return False  # direct current into the inverter is discharging
    status = next(
        (
            said
            for model in models
            if model.id in (802, 124)
            for name, point in points(model).items()
            if name == "ChaSt" and (said := value(model, point)) is not None
        ),
        None,
    )
    if status not in (CHARGING, DISCHARGING) or not match.value:
        return None
    return (match.value > 0) == (status == CHARGING)
