"""What can go wrong on a line, told apart by what is worth trying next.

LineFault
    UnreachableFault    there is no connection: every unit of the line has to wait
    SilentFault         connected, and no usable answer in time: this unit has to wait
    RefusedFault        the unit answered that it does not have this: others still may
"""

#: Modbus Application Protocol V1.1b3, §7.
EXCEPTIONS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "server device failure",
    5: "acknowledge",
    6: "server device busy",
    10: "gateway path unavailable",
    11: "gateway target failed to respond",
}
#: The unit, or the gateway before it, is there and cannot answer now: the same as silence.
_PASSING = frozenset({4, 5, 6, 10, 11})


class LineFault(Exception):  # noqa: N818 - not an error of the program: a day's weather on a line
    """Something on the line; its text is for a person."""


class UnreachableFault(LineFault):
    """There is no connection."""


class SilentFault(LineFault):
    """No usable answer came in time."""


class RefusedFault(LineFault):
    """The unit answered with an exception.

    Attributes
    ----------
    code : int
        Modbus' exception code.
    """

    def __init__(self, code: int) -> None:
        super().__init__(f"it answered {EXCEPTIONS.get(code, 'an unknown exception')} ({code})")
        self.code = code

    @property
    def is_passing(self) -> bool:
        """Whether the same request may well succeed later."""
        return self.code in _PASSING
