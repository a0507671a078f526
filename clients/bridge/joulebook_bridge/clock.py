"""The two clocks of this machine, and whether anybody has set the one on the wall."""

import ctypes
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from joulebook_bridge.batch import Instant

_BOOT = Path("/proc/sys/kernel/random/boot_id")
_TIME_ERROR = 5  # adjtimex(2): "the system clock is not synchronized"


@dataclass(frozen=True, slots=True)
class Clock:
    """Where the time comes from.

    Attributes
    ----------
    boot : str
        Differs after each start of the machine; the machine's milliseconds count within it.
    is_set : callable
        Whether the wall's clock is known to be right; ``None`` where the system cannot tell.
    """

    wall_ms: Callable[[], int]
    mono_ms: Callable[[], int]
    boot: str
    is_set: Callable[[], bool | None]

    def now(self) -> Instant:
        """Return this moment on both."""
        return Instant(self.wall_ms(), self.mono_ms())


def system_clock() -> Clock:
    """Return the clock of this machine."""
    # Where it exists, the clock that goes on while the machine sleeps.
    source = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
    return Clock(
        wall_ms=lambda: time.time_ns() // 1_000_000,
        mono_ms=lambda: time.clock_gettime_ns(source) // 1_000_000,
        boot=_boot(_BOOT),
        is_set=lambda: kernel_says(_adjtimex),
    )


def _boot(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii").strip()
    except OSError:
        return "unknown"


def kernel_says(adjtimex: Callable[[], int]) -> bool | None:
    """Return whether the kernel counts its clock as synchronised; ``None`` where it cannot say."""
    try:
        state = adjtimex()
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != _TIME_ERROR


def _adjtimex() -> int:
    # With no bit set in its first field the call changes nothing, and needs no privilege.
    asked = ctypes.create_string_buffer(512)
    return int(ctypes.CDLL(None).adjtimex(ctypes.byref(asked)))
