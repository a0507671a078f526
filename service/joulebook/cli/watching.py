"""What the watchdog of a service looks after, and how patient it is with each."""

import asyncio
from collections.abc import Iterator

from joulebook.cli.watchdog import Watched, Worker
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.mqtt.broker import BrokerClient
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.mqtt.shared_broker import SharedBroker
from joulebook.reminders.watcher import Watcher
from joulebook.storage.keeper import Keeper
from joulebook.storage.pulse import Pulse
from joulebook.storage.sealer import Sealer
from joulebook.summaries.analyst import Analyst
from joulebook.summaries.homes.worker import HomeLines
from joulebook.summaries.summariser import Summariser

# An attempt of the writer waits 30 s for a lock, and as long before the next one. [s]
_WRITER_S = 180.0
# A step is a month of days, a block, or a week of blocks: seconds, minutes on a worn card. [s]
_STEP_S = 1800.0
# It waits for one site at a time, whose readings it removes in one go. [s]
_KEEPER_S = 7200.0
# Whatever takes the event loop longer, nobody waits for its answers. [s]
_LOOP_S = 60.0
_REOPEN_S = 10.0


class EventLoop:
    """The loop that serves pages and bridges, as a worker that cannot be started again."""

    alive = True

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._pulse = Pulse()

    @property
    def silent_s(self) -> float:
        """How long it has not answered; asks it again once it has. [s]"""
        silent_s = self._pulse.silent_s
        if not silent_s:
            self._pulse.beat()
            self._loop.call_soon_threadsafe(self._pulse.rest)
        return silent_s

    def restart(self) -> None:
        """Do nothing: it is never asked for."""


class Door:
    """The listener for bridges, which lives in the loop, as the watchdog's thread sees it."""

    silent_s = 0.0

    def __init__(self, listener: Listener, loop: asyncio.AbstractEventLoop) -> None:
        self._listener = listener
        self._loop = loop

    @property
    def alive(self) -> bool:
        """Whether it takes connections."""
        return self._listener.alive

    def restart(self) -> None:
        """Take connections again; those that are open stay open."""
        reopening = asyncio.run_coroutine_threadsafe(self._listener.reopen(), self._loop)
        reopening.result(_REOPEN_S)


def watched_doors(
    loop: asyncio.AbstractEventLoop,
    *,
    inbox: Inbox,
    listener: Listener | None,
    broker: BrokerClient | SharedBroker | None,
) -> Iterator[Watched]:
    """Yield what takes readings in."""
    yield Watched(
        name="event loop",
        worker=EventLoop(loop),
        patience_s=_LOOP_S,
        without="no page and no bridge is answered",
        vital=True,
        most_starts=0,
    )
    yield Watched(
        name="writer",
        worker=inbox,
        patience_s=_WRITER_S,
        without="nothing is stored",
        vital=True,
    )
    if listener:
        yield _part("listener", Door(listener, loop), "no bridge gets in")
    if broker:
        yield _part("broker client", broker, "readings wait at the broker")


def watched_workers(
    *,
    summariser: Summariser,
    sealer: Sealer,
    analyst: Analyst,
    keeper: Keeper | None,
    watcher: Watcher,
    homes: HomeLines,
) -> Iterator[Watched]:
    """Yield what works on readings that are stored."""
    yield _part("summariser", summariser, "results fall behind")
    yield _part("sealer", sealer.rounds, "the file grows")
    yield _part("analyst", analyst.rounds, "wear and efficiency fall behind")
    yield _part("reminders", watcher.rounds, "nobody is told of anything")
    yield _part("home lines", homes.rounds, "the page of all homes falls behind")
    if keeper:
        yield _part("keeper", keeper.rounds, "old readings are kept longer", _KEEPER_S)


def _part(name: str, worker: Worker, without: str, patience_s: float = _STEP_S) -> Watched:
    return Watched(name=name, worker=worker, patience_s=patience_s, without=without)
