"""When the clock of this machine is taken as right, so that readings may be sent.

A small box without a battery for its clock starts in the past. What it measures until somebody
sets the clock is written with the machine's own milliseconds, and dated afterwards.
"""

import logging
from pathlib import Path

from joulebook_bridge.batch import Instant
from joulebook_bridge.clock import Clock
from joulebook_bridge.spool.spool import Spool

_LOG = logging.getLogger(__name__)
_REMEMBER_EVERY_MS = 60_000
_REMIND_MS = 3_600_000
#: 2026-01-01, when this program was written: no clock before it is right.
_EARLIEST_MS = 1_767_225_600_000


class ClockGate:
    """Watches the clock for the spool.

    Parameters
    ----------
    file : Path
        Where the latest time that was right is remembered from one start to the next.
    wait_s : float
        How long after the machine's start to wait for somebody to confirm the clock. On a machine
        that nobody tells the time its own clock counts then, unless it is behind the latest time
        remembered.
    """

    def __init__(self, spool: Spool, clock: Clock, file: Path, wait_s: float) -> None:
        self._spool = spool
        self._clock = clock
        self._file = file
        self._wait_ms = round(wait_s * 1000)
        self._remembered_ms: int | None = None
        self._told_ms: int | None = None

    def tick(self, now: Instant) -> None:
        """Look again; once a second or so."""
        if self._spool.clock_is_set:
            self._remember(now)
            return
        confirmed = self._clock.is_set()
        latest_ms = latest_of(self._file)
        has_waited = confirmed is None or now.mono_ms >= self._wait_ms
        if confirmed or (has_waited and now.wall_ms >= latest_ms):
            if not confirmed:
                _LOG.warning("nobody has confirmed this machine's clock: it is taken as right")
            self._spool.set_clock(now, latest_ms)
        elif has_waited and (self._told_ms is None or now.mono_ms - self._told_ms >= _REMIND_MS):
            self._told_ms = now.mono_ms
            _LOG.error(
                "this machine's clock is wrong: readings are kept and not sent. Set it, or let it "
                "ask a time server"
            )

    def _remember(self, now: Instant) -> None:
        told = self._remembered_ms
        if told is not None and now.mono_ms - told < _REMEMBER_EVERY_MS:
            return
        self._remembered_ms = now.mono_ms
        part = self._file.with_suffix(".part")
        try:
            part.write_text(str(now.wall_ms), encoding="ascii")
            part.replace(self._file)
        except OSError as error:  # a full disk: the spool says so, and what was remembered stays
            _LOG.debug("the time cannot be remembered: %s", error)


def latest_of(file: Path) -> int:
    """Return the latest time that a file remembers as right. [ms, UTC epoch]"""
    try:
        return max(_EARLIEST_MS, int(file.read_text(encoding="ascii")))
    except (OSError, ValueError):
        return _EARLIEST_MS
