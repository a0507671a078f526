"""Which registers are read at once: few requests, none of them longer than Modbus allows."""

from collections.abc import Iterable
from dataclasses import dataclass

#: Modbus Application Protocol V1.1b3, §6.3 and §6.4: 1 to 125 registers in one request.
MOST_REGISTERS = 125


@dataclass(frozen=True, slots=True, order=True)
class Registers:
    """Registers that lie side by side: those of one number, or of one request."""

    function: int
    address: int
    count: int

    @property
    def end(self) -> int:
        """The first address after them."""
        return self.address + self.count


def plan_requests(wanted: Iterable[Registers], *, skip: int) -> list[Registers]:
    """Return the fewest requests that read what is wanted, each number whole in one of them.

    Parameters
    ----------
    wanted : iterable of Registers
        Each at most 125 registers: a number that is split could be torn.
    skip : int
        How many registers that nobody wants may be read along to save a request. Some equipment
        refuses a request that touches registers it does not have.
    """
    requests: list[Registers] = []
    for span in sorted(set(wanted)):
        last = requests[-1] if requests else None
        if (
            last is not None
            and last.function == span.function
            and span.address <= last.end + skip
            and max(span.end, last.end) - last.address <= MOST_REGISTERS
        ):
            count = max(span.end, last.end) - last.address
            requests[-1] = Registers(last.function, last.address, count)
        else:
            requests.append(span)
    return requests
