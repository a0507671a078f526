"""A clock that stands still until it is moved, and can be set as people set clocks."""

from joulebook_bridge.batch import Instant
from joulebook_bridge.clock import Clock

NOON_MS = 1_789_041_600_000  # 2026-09-10T12:00:00Z
MINUTE_MS = 60_000


class SteppedClock:
    """Both clocks of a machine.

    Attributes
    ----------
    confirmed : bool or None
        What the kernel says of the wall's clock.
    """

    def __init__(
        self, wall_ms: int = NOON_MS, mono_ms: int = 1_000_000, *, boot: str = "first"
    ) -> None:
        self.wall_ms = wall_ms
        self.mono_ms = mono_ms
        self.confirmed: bool | None = True
        self.boot = boot

    def clock(self) -> Clock:
        return Clock(
            wall_ms=lambda: self.wall_ms,
            mono_ms=lambda: self.mono_ms,
            boot=self.boot,
            is_set=lambda: self.confirmed,
        )

    def now(self) -> Instant:
        return Instant(self.wall_ms, self.mono_ms)

    def pass_ms(self, time_ms: int) -> Instant:
        """Let time pass on both."""
        self.wall_ms += time_ms
        self.mono_ms += time_ms
        return self.now()

    def set_by(self, step_ms: int) -> None:
        """Set the one on the wall."""
        self.wall_ms += step_ms
