"""Readings of one device that were taken together."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment on both clocks: that of the wall, which may be set, and that of the machine.

    Attributes
    ----------
    wall_ms : int
        Milliseconds since 1970 UTC, as far as this machine knew.
    mono_ms : int
        Milliseconds since this machine started. Never set, never turned back.
    """

    wall_ms: int
    mono_ms: int

    @property
    def offset_ms(self) -> int:
        """What turns the machine's time into the wall's."""
        return self.wall_ms - self.mono_ms


@dataclass(frozen=True, slots=True)
class Shape:
    """What the values of a batch are: the device, and each quantity with its unit."""

    device: str
    columns: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """Values of one device at one moment; only what was measured is in it."""

    at: Instant
    shape: Shape
    values: tuple[float, ...]
