"""How a service runs: it opens its doors, works until it is told to end, and ends in order."""

import asyncio
import logging
import os
import signal
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack
from functools import partial

from starlette.types import ASGIApp

from joulebook.cli.doors import listening_socket, make_room_for_connections
from joulebook.cli.intake import Intake
from joulebook.cli.stopping import STOP_S, Stopping, left_sentence
from joulebook.cli.systemd import ServiceManager
from joulebook.cli.watchdog import Watchdog, Watched
from joulebook.cli.web_server import web_server
from joulebook.errors import UnavailableError
from joulebook.settings import Settings
from joulebook.storage.database import Database
from joulebook.storage.room import Room, room_of
from joulebook.web.watch.health import WorkerHealth
from joulebook.web.watch.traffic import Counted, Traffic

_log = logging.getLogger(__name__)

Worker = tuple[Callable[[], None], Callable[[], None]]


class Running(ABC):
    """A service that takes readings in. ``run`` returns after SIGINT or SIGTERM, all settled.

    Parameters
    ----------
    database : Database
        Where readings go.
    intake : Intake
        Its doors for readings.
    manager : ServiceManager, optional
        Who is told that the service is ready, well, and stopping.
    leave : callable
        Ends the process at once, where stopping in order takes longer than ``stop_s`` [s].
    """

    def __init__(
        self,
        database: Database,
        settings: Settings,
        intake: Intake,
        *,
        manager: ServiceManager | None = None,
        leave: Callable[[int], object] = os._exit,
        stop_s: float = STOP_S,
    ) -> None:
        self._where = database.data_dir
        self.on_server = database.server is not None
        self._settings = settings
        self._intake = intake
        self._manager = manager or ServiceManager({})
        self._ending = partial(Stopping, left=self._left, deadline_s=stop_s, leave=leave)
        self._watchdog: Watchdog | None = None
        self._given_up: str | None = None
        self._traffic = Traffic()

    def _serve(self, app: ASGIApp) -> None:
        """Take the port of the pages, on which ``run`` will serve an application."""
        self._web = web_server(Counted(app, self._traffic), self._settings)
        self._socket = listening_socket(self._settings.host, self._settings.port)
        self.port: int = self._socket.getsockname()[1]

    @abstractmethod
    def _workers(self) -> Iterator[Worker]:
        """Yield how each worker is started and stopped, those of the intake last."""

    @abstractmethod
    def _watched(self) -> Iterator[Watched]:
        """Yield what the watchdog looks after besides the doors and the writer."""

    @property
    def mqtt_port(self) -> int:
        """The port that bridges send readings to, once ``run`` has started; 0: there is none."""
        return self._intake.listener.port if self._intake.listener else 0

    def url(self, scheme: str, port: int) -> str:
        """Return the address of a door."""
        host = self._settings.host
        return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"

    def room(self) -> Room | None:
        """Return how much room the disk has; ``None`` where it cannot be asked, as a server's."""
        if self.on_server:
            return None
        try:
            return room_of(self._where)
        except OSError:
            return None

    async def run(
        self, started: Callable[[], object], stopping: Callable[[], object] = lambda: None
    ) -> None:
        """Serve until a signal comes.

        ``started`` is called once every door is open, ``stopping`` before the first one closes.
        A second signal, or too long a stop, ends the process at once.

        Raises
        ------
        UnavailableError
            If a vital worker could not be helped, or messages were left that could not be stored.
        """
        loop = asyncio.get_running_loop()
        ending = self._ending(partial(loop.call_soon_threadsafe, self._web.stop))
        make_room_for_connections(self._settings)
        async with AsyncExitStack() as closing:
            closing.callback(self._socket.close)
            closing.callback(ending.done)
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.add_signal_handler(number, ending.ask)
                closing.callback(loop.remove_signal_handler, number)
            # Closed in the opposite order: the doors first, then the writer, so that what is
            # already inside is committed and acknowledged.
            for start, stop in self._workers():
                start()
                closing.push_async_callback(asyncio.to_thread, stop)
            await self._intake.open()
            closing.push_async_callback(self._intake.close)
            self._watchdog = self._watch(loop, ending)
            self._watchdog.start()
            closing.push_async_callback(asyncio.to_thread, self._watchdog.stop)
            started()
            self._manager.ready("taking readings in")
            await self._web.serve(sockets=[self._socket])
            _log.info("stopping")
            self._manager.stopping("storing what has come in")
            await asyncio.to_thread(stopping)
        self._say_what_is_left()

    def worker_health(self) -> tuple[WorkerHealth, ...]:
        """Say how each worker does."""
        return self._watchdog.workers() if self._watchdog else ()

    def _watch(self, loop: asyncio.AbstractEventLoop, ending: Stopping) -> Watchdog:
        def give_up(why: str) -> None:
            self._given_up = why
            ending.ask()

        watched = [*self._intake.watched(loop), *self._watched()]
        return Watchdog(watched, give_up=give_up, all_well=self._manager.alive)

    def _left(self) -> str:
        return left_sentence(self._intake.inbox.counts())

    def _say_what_is_left(self) -> None:
        if not self._given_up and not self._intake.inbox.counts().queued:
            _log.info("stopped: %s", self._left())
            return
        raise UnavailableError(
            f"the service ends: {self._given_up or 'not everything could be stored'}",
            where=self._where,
            expected=f"a writer that stores everything; {self._left()}",
            next_step="look into the log and start it again; `joulebook doctor` tells more",
        )
