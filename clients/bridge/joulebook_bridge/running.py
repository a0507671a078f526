"""``run``: lines are read, readings go to disk and to the service, until somebody stops it."""

import logging
import threading
from collections.abc import Callable

from joulebook_bridge.batch import Batch, Instant, Shape
from joulebook_bridge.clock import Clock
from joulebook_bridge.configuration import (
    DROP_OLDEST,
    Configuration,
    LinePlan,
    SpoolPlan,
    entries_of,
)
from joulebook_bridge.modbus.lines import Line
from joulebook_bridge.modbus.polling import Poller
from joulebook_bridge.sender import Sender
from joulebook_bridge.spool.gate import ClockGate
from joulebook_bridge.spool.room import Room
from joulebook_bridge.spool.spool import Spool

_LOG = logging.getLogger(__name__)
_TICK_S = 0.25
_FAREWELL_S = 3.0  # how long the last readings may take to be delivered


class Bridge:
    """All parts of a running bridge.

    Parameters
    ----------
    open_line : callable
        Returns a line for one thread.
    """

    def __init__(
        self,
        configuration: Configuration,
        clock: Clock,
        open_line: Callable[[LinePlan], Line] | None = None,
    ) -> None:
        plan = configuration.spool
        self._clock = clock
        self._configuration = configuration
        self._spool = open_spool(plan, clock)
        self._gate = ClockGate(self._spool, clock, plan.folder / "latest", plan.clock_wait_s)
        self._sender = Sender(configuration.service, self._spool)
        open_line = open_line or (lambda line: Line(line.address, timeout_s=line.timeout_s))
        self._pollers = [
            Poller(line, open_line(line), clock, self._spool.append) for line in configuration.lines
        ]
        self._began_ms = clock.mono_ms()
        self._next_heartbeat_ms = self._began_ms

    def run(self, stop: threading.Event) -> None:
        """Run until told to stop, then deliver what was read last, if the service is there."""
        self._say_what_is_left_out()
        stop_sending = threading.Event()
        reading = [
            threading.Thread(target=poller.run, args=(stop,), name=f"line {place}", daemon=True)
            for place, poller in enumerate(self._pollers, start=1)
        ]
        sending = threading.Thread(
            target=self._sender.run, args=(stop_sending,), name="sender", daemon=True
        )
        self._gate.tick(self._clock.now())
        for thread in (*reading, sending):
            thread.start()
        try:
            while not stop.wait(_TICK_S):
                self.tick()
                dead = [thread.name for thread in (*reading, sending) if not thread.is_alive()]
                if dead:
                    # Its traceback is in the log. Ending all lets the system start us anew.
                    raise RuntimeError(f"the thread {dead[0]!r} ended")
        finally:
            stop.set()
            for thread in reading:
                thread.join()
            self._say_farewell()
            stop_sending.set()
            sending.join()
            self._spool.close()

    def tick(self) -> None:
        """Do what time asks for."""
        now = self._clock.now()
        self._gate.tick(now)
        self._spool.tick(now)
        if now.mono_ms >= self._next_heartbeat_ms:
            self._next_heartbeat_ms = now.mono_ms + round(self._configuration.heartbeat_s * 1000)
            self._spool.append(self._heartbeat(now))

    def _heartbeat(self, now: Instant) -> Batch:
        """Return the bridge's readings of itself: a silent battery is not a dead bridge."""
        said = {
            ("uptime", "s"): (now.mono_ms - self._began_ms) / 1000,
            ("waiting", "count"): float(self._spool.waiting_readings()),
            ("lost", "count"): float(self._spool.lost),
            ("aside", "count"): float(self._spool.aside_readings()),
            ("silent_units", "count"): float(sum(each.silent_units for each in self._pollers)),
        }
        if self._spool.steps_ms:
            said["clock_step", "s"] = max(self._spool.steps_ms, key=abs) / 1000
            self._spool.steps_ms.clear()
        return Batch(now, Shape(self._configuration.own_device, tuple(said)), tuple(said.values()))

    def _say_what_is_left_out(self) -> None:
        for line, unit, entry in entries_of(self._configuration.lines):
            if entry.meaning is None:
                _LOG.warning(
                    "%s/%s of unit %d on %s is not sent: its positive_means is undecided. Scan "
                    "again while the battery charges or discharges",
                    *(entry.device, entry.quantity, unit.number, line.address),
                )

    def _say_farewell(self) -> None:
        end_ms = self._clock.mono_ms() + round(_FAREWELL_S * 1000)
        while (
            self._sender.is_connected
            and self._spool.clock_is_set
            and self._spool.waiting_readings()
            and self._clock.mono_ms() < end_ms
        ):
            threading.Event().wait(0.02)


def open_spool(plan: SpoolPlan, clock: Clock) -> Spool:
    """Return the spool that a plan describes."""
    room = Room(
        most_bytes=plan.most_bytes,
        keep_free_bytes=plan.keep_free_bytes,
        drop_oldest=plan.when_full == DROP_OLDEST,
    )
    return Spool(plan.folder, clock.boot, room, sync_s=plan.sync_s)
