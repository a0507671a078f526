"""Readings as a person types them, and the SenML pack (RFC 8428) that carries them."""

import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from joulebook_bridge.errors import WrongError

_TYPED = re.compile(
    r"(?P<quantity>[^=]*)=(?P<value>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?P<unit>.*)"
)
#: RFC 8428 §4.5.1.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")

#: Units of SenML (RFC 8428 and RFC 8798) that equipment of a home may have.
UNITS = (
    *("V", "A", "W", "Wh", "Cel", "Hz", "/", "Ah", "kW", "kWh", "mV", "mA", "/100", "%RH", "K"),
    *("VA", "kVA", "var", "kvar", "kVAh", "varh", "kvarh", "s", "min", "h", "count", "Ohm", "Pa"),
    *("lx", "deg", "m/s", "l/s"),
)
#: As people write them, and as SenML does. There "%" would be a ratio, and "C" is coulomb.
_SPOKEN = {"%": "/100", "°C": "Cel"}
#: Secondary units (RFC 8798): a pack that holds one says so in its version (RFC 9100).
_SECONDARY = frozenset(
    {"Wh", "Ah", "kW", "kWh", "mV", "mA", "/100"}
    | {"kVA", "kvar", "kVAh", "varh", "kvarh", "min", "h"}
)
_VERSION_WITH_SECONDARY = 26

#: The unit that a quantity of docs/vocabulary.md has where none is typed.
USUAL_UNITS = {
    "voltage": "V",
    "voltage_l1": "V",
    "voltage_l2": "V",
    "cell_voltage_min": "V",
    "cell_voltage_max": "V",
    "dc_voltage": "V",
    "current": "A",
    "dc_current": "A",
    "power": "W",
    "power_l1": "W",
    "power_l2": "W",
    "energy": "Wh",
    "charge_energy": "Wh",
    "discharge_energy": "Wh",
    "import_energy": "Wh",
    "export_energy": "Wh",
    "soc": "/",
    "soh": "/",
    "temperature": "Cel",
    "frequency": "Hz",
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one quantity, in a unit as SenML names it."""

    quantity: str
    value: float
    unit: str


def parse_reading(text: str) -> Reading:
    """Return the reading that a text such as ``current=-12.4A`` means.

    Raises
    ------
    WrongError
        If it is no reading, or nobody can tell its unit.
    """
    typed = _TYPED.fullmatch(text)
    value = float(typed["value"]) if typed else math.nan
    if typed is None or not _NAME.fullmatch(typed["quantity"]) or not math.isfinite(value):
        raise WrongError(
            f"{text!r} is not a reading",
            where="the readings of 'send'",
            expected="quantity=value and a unit, such as current=-12.4A",
            next_step="write it so; a missing reading is left out",
        )
    return Reading(typed["quantity"], value, _unit(typed["quantity"], typed["unit"], text))


def _unit(quantity: str, typed: str, text: str) -> str:
    unit = _SPOKEN.get(typed, typed) or USUAL_UNITS.get(quantity, "")
    if unit in UNITS:
        return unit
    complaint = f"does not know the unit {typed!r}" if typed else "cannot tell the unit"
    raise WrongError(
        f"the bridge {complaint} of {text!r}",
        where="the readings of 'send'",
        expected=f"one of {' '.join([*UNITS, *_SPOKEN])}",
        next_step="write the unit right after the number, as in 53.1V",
    )


def make_pack(readings: Sequence[Reading], at_ms: int) -> bytes:
    """Return the SenML JSON pack of readings taken at one instant. [ms, UTC epoch]

    The pack carries its time, so that a message sent twice is the same readings twice.
    """
    records: list[dict[str, object]] = [
        {"n": reading.quantity, "u": reading.unit, "v": reading.value} for reading in readings
    ]
    base: dict[str, object] = {"bt": _seconds(at_ms)}
    if any(reading.unit in _SECONDARY for reading in readings):
        base = {"bver": _VERSION_WITH_SECONDARY, **base}
    records[0] = {**base, **records[0]}
    return json.dumps(records, separators=(",", ":")).encode()


def pack_rows(
    columns: Sequence[tuple[str, str]], rows: Sequence[tuple[int, Sequence[float]]]
) -> bytes:
    """Return the SenML JSON pack of rows that have the same quantities.

    Written out by hand, since most of what a bridge does is this. One row gives the form that the
    service reads fastest.

    Parameters
    ----------
    columns : sequence of (str, str)
        Each quantity with its unit.
    rows : sequence of (int, sequence of float)
        Instant [ms, UTC epoch] and the values, all finite.
    """
    first_ms = rows[0][0]
    base = f'"bt":{_seconds(first_ms)},'
    if any(unit in _SECONDARY for _, unit in columns):
        base = f'"bver":{_VERSION_WITH_SECONDARY},{base}'
    heads = [f'"n":"{name}","u":"{unit}",' if unit else f'"n":"{name}",' for name, unit in columns]
    records = []
    for at_ms, values in rows:
        after = f'"t":{_seconds(at_ms - first_ms)},' if at_ms != first_ms else ""
        records += [
            f'{head}{after}"v":{value!r}' for head, value in zip(heads, values, strict=True)
        ]
    return ("[{" + base + "},{".join(records) + "}]").encode()


def _seconds(time_ms: int) -> int | float:
    return time_ms / 1000 if time_ms % 1000 else time_ms // 1000
