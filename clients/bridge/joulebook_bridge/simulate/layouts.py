"""The plant as registers: two units with SunSpec models, and a meter with a map of its own."""

from collections.abc import Mapping

from joulebook_bridge.simulate.plant import CAPACITY_AH, CELLS, RATED_WH, Plant
from joulebook_bridge.sunspec.mapping import CHARGING, DISCHARGING
from joulebook_bridge.sunspec.models import Point, points
from joulebook_bridge.sunspec.walk import MARKER, Model

INVERTER, BATTERY, METER = 1, 2, 3
_BASE = 40000
_HOLDING = 6
_RESTING_A = 0.05
_HEADER_WORDS = 2
_LENGTHS = {1: 66, 103: 50, 120: 26, 701: 153, 713: 7, 714: 68, 802: 62, 803: 58}

Registers = dict[int, int]
Values = Mapping[str, int | str]


def registers_of(unit: int, plant: Plant) -> Registers | None:
    """Return all registers of a unit as they are now, ``None`` where there is no such unit."""
    if unit == INVERTER:
        return _chain(_inverter(plant))
    if unit == BATTERY:
        return _chain(_battery(plant))
    if unit == METER:
        return _meter(plant)
    return None


def model_words(
    model_id: int, values: Values, *, length: int | None = None, **counts: int
) -> list[int]:
    """Return the words of a model; points without a value are not implemented.

    Parameters
    ----------
    values : mapping
        By the names of :func:`joulebook_bridge.sunspec.models.points`; numbers as in the
        registers, before scaling.
    length : int, optional
        Of the model without its first two words, where it is not the usual one.
    **counts : int
        Points that say how often a group repeats: they decide where the others lie.
    """
    length = _LENGTHS[model_id] if length is None else length
    words = [model_id, length] + [0xFFFF] * length
    known: dict[str, int | str] = dict(counts)
    for name, point in points(Model(model_id, 0, tuple(words))).items():
        if name in counts:
            words[point.offset] = counts[name]
    known.update(values)
    for name, point in points(Model(model_id, 0, tuple(words))).items():
        if point.offset >= _HEADER_WORDS:
            found = _encoded(known[name], point.size) if name in known else _empty(point)
            words[point.offset : point.offset + point.size] = found
    return words


def _empty(point: Point) -> list[int]:
    """Return the words that say that a point is not implemented."""
    if point.type == "string" or point.type.startswith("acc"):
        return [0] * point.size
    if point.type in ("int16", "int32", "int64", "sunssf", "pad"):
        return [0x8000] + [0] * (point.size - 1)
    return [0xFFFF] * point.size


def _encoded(value: int | str, size: int) -> list[int]:
    if isinstance(value, str):
        data = value.encode().ljust(2 * size, b"\0")
    else:
        data = (value % (1 << 16 * size)).to_bytes(2 * size, "big")
    return [int.from_bytes(data[place : place + 2], "big") for place in range(0, 2 * size, 2)]


def _chain(models: list[list[int]]) -> Registers:
    words = [*MARKER]
    for model in models:
        words += model
    words += [0xFFFF, 0]
    return {_BASE + place: word for place, word in enumerate(words)}


def _common(name: str, serial: str) -> list[int]:
    said: Values = {"Mn": "Invented Works", "Md": name, "Vr": "1.0", "SN": serial, "DA": 1}
    return model_words(1, said)


def _inverter(plant: Plant) -> list[list[int]]:
    now, counted = plant.now, plant.counted_wh
    direct_w = now.pv_w - now.battery_w
    ports: Values = {
        "Prt[1].PrtTyp": 0,
        "Prt[1].ID": 1,
        "Prt[1].DCA": round(now.pv_w / 340 * 10),
        "Prt[1].DCV": 3400 if now.pv_w else 0,
        "Prt[1].DCW": round(now.pv_w),
        "Prt[1].DCWhInj": round(counted["pv"]),
        "Prt[1].DCWhAbs": 0,
        "Prt[2].PrtTyp": 1,
        "Prt[2].ID": 2,
        "Prt[2].DCA": round(-now.battery_a * 10),
        "Prt[2].DCV": round(now.battery_v * 10),
        "Prt[2].DCW": round(-now.battery_w),
        "Prt[2].DCWhInj": round(counted["discharge"]),
        "Prt[2].DCWhAbs": round(counted["charge"]),
    }
    scales: Values = {"DCA_SF": -1, "DCV_SF": -1, "DCW_SF": 0, "DCWH_SF": 0}
    return [
        _common("Hearth 6 inverter", "HX-0001"),
        model_words(
            103,
            {
                "A": round(abs(now.inverter_w) / 240 * 10),
                "A_SF": -1,
                "PPVphAB": 2400,
                "PhVphA": 1200,
                "PhVphB": 1199,
                "V_SF": -1,
                "W": round(now.inverter_w),
                "W_SF": 0,
                "Hz": 6000,
                "Hz_SF": -2,
                "WH": round(counted["out"]),
                "WH_SF": 0,
                "DCA": round(abs(now.battery_a) * 10),
                "DCA_SF": -1,
                "DCV": round(now.battery_v * 100),
                "DCV_SF": -2,
                "DCW": round(-now.battery_w),
                "DCW_SF": 0,
                "TmpCab": round((24 + abs(direct_w) / 400) * 10),
                "Tmp_SF": -1,
                "St": 4,
            },
        ),
        model_words(120, {"DERTyp": 82, "WRtg": 6000, "WRtg_SF": 0}),
        model_words(
            714,
            {"DCA": round(-now.battery_a * 10), "DCW": round(direct_w), **ports, **scales},
            NPrt=2,
        ),
    ]


def _battery(plant: Plant) -> list[list[int]]:
    now = plant.now
    cell_v = now.battery_v / CELLS
    status = _HOLDING
    if abs(now.battery_a) > _RESTING_A:
        status = CHARGING if now.battery_a > 0 else DISCHARGING
    scales: Values = {
        "AHRtg_SF": 0,
        "WHRtg_SF": 1,
        "SoC_SF": -1,
        "SoH_SF": -1,
        "V_SF": -2,
        "CellV_SF": -3,
        "A_SF": -2,
        "W_SF": 0,
    }
    return [
        _common("Kiln Wall 314 battery", "KW-0314"),
        model_words(
            802,
            {
                "AHRtg": round(CAPACITY_AH),
                "WHRtg": round(RATED_WH / 10),
                "SoC": round(plant.soc * 1000),
                "SoH": 998,
                "NCyc": round(plant.throughput_ah / CAPACITY_AH),
                "ChaSt": status,
                "Typ": 4,
                "State": 3,
                "WarrDt": 13149,
                "V": round(now.battery_v * 100),
                "CellVMax": round((cell_v + 0.006) * 1000),
                "CellVMin": round((cell_v - 0.007) * 1000),
                # This one counts discharging as positive, as some do.
                "A": round(-now.battery_a * 100),
                "W": round(-now.battery_w),
                **scales,
            },
        ),
        model_words(
            803,
            {
                "NStrCon": 1,
                "ModTmpMax": round((plant.battery_c + 0.8) * 10),
                "ModTmpMin": round((plant.battery_c - 0.6) * 10),
                "ModTmpAvg": round(plant.battery_c * 10),
                "ModTmp_SF": -1,
            },
            NStr=1,
        ),
    ]


def _meter(plant: Plant) -> Registers:
    """Return the meter's registers: low word first, as docs/examples/studio-meter.toml says."""
    now, counted = plant.now, plant.counted_wh
    wide = {
        100: round(-now.grid_w * 10),  # it counts what leaves the studio as positive
        102: round(now.load_w * 10),
        104: round(now.load_l1_w * 10),
        106: round((now.load_w - now.load_l1_w) * 10),
        110: round(counted["import"] / 10),
        112: round(counted["export"] / 10),
        114: round(counted["load"] / 10),
    }
    words = {0: 0x5374, 1: 0x4D31, 108: 1200, 109: 1199, 116: 6000, 117: 0x7FFF}
    for address, value in wide.items():
        high, low = _encoded(value, 2)
        words[address], words[address + 1] = low, high
    return words
