"""A register map: what the registers of one kind of equipment mean. See docs/register-maps.md."""

import re
from dataclasses import dataclass

from joulebook_bridge.modbus.lines import Function
from joulebook_bridge.modbus.numbers import NUMBER_TYPES, Meaning, NumberType, Scale
from joulebook_bridge.modbus.planning import MOST_REGISTERS, Registers
from joulebook_bridge.pack import UNITS, USUAL_UNITS
from joulebook_bridge.toml_tables import Table

_FORMAT = 1
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_QUANTITY = re.compile(r"[a-z][a-z0-9_]{0,63}")
_FUNCTIONS = {"holding": Function.HOLDING, "input": Function.INPUT}
_HIGH_FIRST, _LOW_FIRST = "high word first", "low word first"
_LAST_ADDRESS = 0xFFFF
UNDECIDED = "undecided"
_NO_GROUP = "default"

#: Where a value can run either way: the word for the vocabulary's positive, and for the other.
_DIRECTIONS = {
    ("battery", "current"): ("charging", "discharging"),
    ("battery", "power"): ("charging", "discharging"),
    ("inverter", "dc_current"): ("charging", "discharging"),
    ("grid", "power"): ("importing", "exporting"),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One reading of a map: where it is, what it means, and how often it is taken.

    Attributes
    ----------
    meaning : Meaning or None
        ``None`` while nobody knows which sign is which: then it is read and not sent.
    scale_at, sign_at : Registers or None
        Registers beside it that hold its power of ten, and its sign.
    """

    device: str
    quantity: str
    unit: str
    registers: Registers
    meaning: Meaning | None
    every_s: float
    scale_at: Registers | None = None
    sign_at: Registers | None = None

    def wanted(self) -> list[Registers]:
        """Return all registers that it takes."""
        return [span for span in (self.registers, self.scale_at, self.sign_at) if span is not None]


@dataclass(frozen=True, slots=True)
class Expectation:
    """Words that show that this is the equipment that the map was made for."""

    registers: Registers
    words: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RegisterMap:
    """All that is read from one unit."""

    name: str
    entries: tuple[Entry, ...]
    expectations: tuple[Expectation, ...]
    skip: int


@dataclass(frozen=True, slots=True)
class _Defaults:
    """What a map says once for all of its readings."""

    function: str
    word_order: str
    first_address: int
    every_s: dict[str, float]


def parse_map(table: Table) -> RegisterMap:
    """Return the map that a table holds.

    Raises
    ------
    WrongError
        With file and line, what was expected there, and what to do.
    """
    table.whole("format", _FORMAT, _FORMAT)
    name = table.text("name")
    table.text("source", "")  # for people: the manual and page that the map is from
    groups = {
        key: float(_every(group)) for key, group in table.table("groups").named_tables().items()
    }
    defaults = _Defaults(
        function=table.choice("registers", tuple(_FUNCTIONS), "holding"),
        word_order=table.choice("word_order", (_HIGH_FIRST, _LOW_FIRST), _HIGH_FIRST),
        first_address=table.whole("first_address", 0, 1, 0),
        every_s={_NO_GROUP: 1.0, **groups},
    )
    skip = table.whole("skip", 0, MOST_REGISTERS, 0)
    expectations = tuple(_expectation(each, defaults) for each in table.tables("expect"))
    entries = tuple(_entry(each, defaults) for each in table.tables("reading"))
    table.nothing_else()
    if not entries:
        raise table.wrong("reading", "the map has no readings", "at least one [[reading]]")
    return RegisterMap(name, entries, expectations, skip)


def _every(group: Table) -> int | float:
    every_s = group.number("every_s", 0.1, 86_400)
    group.nothing_else()
    return every_s


def _expectation(table: Table, defaults: _Defaults) -> Expectation:
    words = table.whole_numbers("words", 0, 0xFFFF)
    if not 1 <= len(words) <= MOST_REGISTERS:
        raise table.wrong(
            "words", f"there are {len(words)} words", f"1 to {MOST_REGISTERS} whole numbers"
        )
    expectation = Expectation(_registers(table, defaults, "address", len(words)), words)
    table.choice("registers", tuple(_FUNCTIONS), defaults.function)
    table.nothing_else()
    return expectation


def _entry(table: Table, defaults: _Defaults) -> Entry:
    device = table.text("device", expected="the device it is of, as battery")
    if not _NAME.fullmatch(device):
        raise table.wrong(
            "device", f"{device!r} cannot name a device", "lower-case letters, digits and '-'"
        )
    quantity = table.text("quantity", expected="what it is, as voltage")
    if not _QUANTITY.fullmatch(quantity):
        raise table.wrong(
            "quantity", f"{quantity!r} cannot name a quantity", "lower-case letters, digits and '_'"
        )
    order = table.choice("word_order", (_HIGH_FIRST, _LOW_FIRST), defaults.word_order)
    number = NumberType(table.choice("type", NUMBER_TYPES), order == _LOW_FIRST)
    group = table.choice("group", tuple(defaults.every_s), _NO_GROUP)
    entry = Entry(
        device,
        quantity,
        _unit(table, quantity),
        _registers(table, defaults, "address", number.words),
        _meaning(table, number, device, quantity),
        defaults.every_s[group],
        _beside(table, defaults, "scale_address"),
        _beside(table, defaults, "sign_address"),
    )
    table.nothing_else()
    return entry


def _unit(table: Table, quantity: str) -> str:
    unit = table.text("unit", USUAL_UNITS.get(quantity, ""))
    known = unit in UNITS or (unit == "" and "unit" in table)
    if known:
        return unit
    if unit == "":
        raise table.wrong(
            "unit", f"nobody can tell the unit of {quantity!r}", 'a unit, as unit = "W", or ""'
        )
    raise table.wrong("unit", f"unit is {unit!r}", "one of " + " ".join(UNITS))


def _meaning(table: Table, number: NumberType, device: str, quantity: str) -> Meaning | None:
    scale = Scale(
        zero_at=table.number("zero_at", -1e12, 1e12, 0),
        multiply_by=table.number("multiply_by", -1e12, 1e12, 1),
        divide_by=table.number("divide_by", 1e-9, 1e12, 1),
    )
    not_available = table.whole_numbers("not_available", -(2**63), 2**64 - 1)
    directions = _DIRECTIONS.get((device.partition("-")[0], quantity))
    if directions is None:
        if "positive_means" in table:
            raise table.wrong(
                "positive_means",
                f"{quantity!r} of {device!r} runs one way only",
                "no such key here",
                "leave it out",
            )
        return Meaning(number, scale, not_available)
    positive = table.choice("positive_means", (*directions, UNDECIDED))
    if positive == UNDECIDED:
        return None
    return Meaning(number, scale, not_available, turned=positive == directions[1])


def _beside(table: Table, defaults: _Defaults, key: str) -> Registers | None:
    return _registers(table, defaults, key, 1) if key in table else None


def _registers(table: Table, defaults: _Defaults, key: str, count: int) -> Registers:
    first = defaults.first_address
    address = table.whole(key, first, _LAST_ADDRESS + first) - first
    if address + count - 1 > _LAST_ADDRESS:
        raise table.wrong(key, f"{count} registers from there are too many", "the last is 65535")
    function = table.choice("registers", tuple(_FUNCTIONS), defaults.function)
    return Registers(_FUNCTIONS[function], address, count)
