"""The chain of models that SunSpec equipment begins with, from the marker to the end."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from joulebook_bridge.modbus.faults import RefusedFault
from joulebook_bridge.modbus.planning import MOST_REGISTERS

#: Where a chain may begin, in the order in which to look (SunSpec information model, device base).
BASES = (40000, 0, 50000)
MARKER = (0x5375, 0x6E53)  # "SunS"
_END = 0xFFFF
_LAST_ADDRESS = 0xFFFF
_MOST_MODELS = 200  # far more than there are: a chain that does not end is no chain

Read = Callable[[int, int], Sequence[int]]


@dataclass(frozen=True, slots=True)
class Model:
    """One model as it was found.

    Attributes
    ----------
    address : int
        Of its first word, which is its number.
    words : tuple of int
        All of it, with number and length in front.
    """

    id: int
    address: int
    words: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Chain:
    """All models of one unit, in order."""

    base: int
    models: tuple[Model, ...]


def find_chain(read: Read) -> Chain | None:
    """Return the models of a unit, ``None`` where it has none.

    Parameters
    ----------
    read : callable
        Takes an address and a count and returns so many registers.

    Raises
    ------
    LineFault
        If the unit does not answer; that it refuses an address only says that nothing is there.
    """
    for base in BASES:
        try:
            if tuple(read(base, 2)) != MARKER:
                continue
        except RefusedFault as fault:
            if fault.is_passing:
                raise
            continue
        return Chain(base, tuple(_models(read, base + 2)))
    return None


def _models(read: Read, address: int) -> list[Model]:
    models: list[Model] = []
    while len(models) < _MOST_MODELS and address < _LAST_ADDRESS:
        try:
            number, length = read(address, 2)
            # The length leaves out the two words in front.
            if number == _END or address + 2 + length > _LAST_ADDRESS:
                break
            body = _read_long(read, address + 2, length)
        except RefusedFault as fault:
            if fault.is_passing:
                raise
            break  # some equipment forgets the end
        models.append(Model(number, address, (number, length, *body)))
        address += 2 + length
    return models


def _read_long(read: Read, address: int, count: int) -> list[int]:
    words: list[int] = []
    while len(words) < count:
        words += read(address + len(words), min(MOST_REGISTERS, count - len(words)))
    return words
