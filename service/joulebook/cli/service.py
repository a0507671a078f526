"""The running service: every real part is chosen here and nowhere else."""

import asyncio
import logging
import os
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack
from dataclasses import replace
from functools import partial

from joulebook import __version__
from joulebook.cli.doors import (
    listener_limits,
    listening_socket,
    make_room_for_connections,
    tls_context,
)
from joulebook.cli.health import Parts, health_of
from joulebook.cli.stopping import SETTLE_S, STOP_S, Stopping, left_sentence
from joulebook.cli.systemd import ServiceManager
from joulebook.cli.watchdog import Watchdog
from joulebook.cli.watching import watched_parts
from joulebook.cli.web_server import web_server
from joulebook.errors import UnavailableError, UsageError
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.mapping.file import MAPPINGS, load_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.mqtt.broker import OURS, BrokerClient
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.pace import is_this_machine
from joulebook.ingest.throttle import Throttle
from joulebook.reminders.sending import by_apprise
from joulebook.reminders.watcher import Watcher
from joulebook.settings import Settings
from joulebook.storage.backup_notes import last_backup
from joulebook.storage.database import Database
from joulebook.storage.keeper import Keeper
from joulebook.storage.room import Room, room_of
from joulebook.storage.sealer import Sealer
from joulebook.storage.tokens import check_token, revoked_among
from joulebook.summaries.analyst import Analyst
from joulebook.summaries.summariser import Summariser
from joulebook.web.access.rules import AccessRules
from joulebook.web.app import build_app
from joulebook.web.health import Health
from joulebook.web.traffic import Counted, Traffic

_log = logging.getLogger(__name__)


class Service:
    """One data directory's service. ``run`` returns after SIGINT or SIGTERM, all settled.

    Parameters
    ----------
    manager : ServiceManager, optional
        Who is told that the service is ready, well, and stopping.
    leave : callable
        Ends the process at once, where stopping in order takes longer than ``stop_s`` [s].
    """

    def __init__(
        self,
        database: Database,
        settings: Settings,
        *,
        clock_ms: Callable[[], int],
        demonstration: bool = False,
        manager: ServiceManager | None = None,
        leave: Callable[[int], object] = os._exit,
        stop_s: float = STOP_S,
    ) -> None:
        _check_host(settings.host, demonstration=demonstration)
        self._settings = settings
        self._data_dir = database.data_dir
        self._clock_ms = clock_ms
        self._started_ms = clock_ms()
        self._manager = manager or ServiceManager({})
        self._traffic = Traffic()
        self._ending = partial(Stopping, left=self._left, deadline_s=stop_s, leave=leave)
        self._watchdog: Watchdog | None = None
        self._given_up: str | None = None
        guesses = Throttle()  # at tokens, at either door
        self._summariser = Summariser(database, clock_ms=clock_ms, max_gap_s=settings.max_gap_s)
        self._sealer = Sealer(database, clock_ms=clock_ms)
        self._analyst = Analyst(database, clock_ms=clock_ms, max_gap_s=settings.max_gap_s)
        self._watcher = Watcher(
            database,
            clock_ms=clock_ms,
            address=settings.public_url,
            max_gap_s=settings.max_gap_s,
            send=None if demonstration else by_apprise,
        )
        mappings = Mappings(load_mappings(database.data_dir / MAPPINGS))
        self._inbox = Inbox(
            database, clock_ms=clock_ms, mappings=mappings, wrote=self._summariser.nudge
        )
        self._listener = Listener(
            self._inbox,
            lambda name, secret: check_token(database, name, secret, now_ms=clock_ms()),
            host=settings.host,
            port=settings.mqtt_port,
            clock_ms=clock_ms,
            tls=tls_context(settings),
            limits=replace(listener_limits(settings), stop_s=SETTLE_S),
            revoked=lambda token_ids: revoked_among(database, token_ids),
            guesses=guesses,
        )
        self._broker = (
            BrokerClient(
                self._inbox,
                url=settings.broker,
                topic_filters=[OURS, *mappings.topic_filters],
                client_id="joulebook",
                clock_ms=clock_ms,
                settle_s=SETTLE_S,
            )
            if settings.broker
            else None
        )
        self._keeper = (
            Keeper(database, clock_ms=clock_ms, keep_years=settings.keep_years)
            if settings.keep_years
            else None
        )
        app = build_app(
            database,
            clock_ms=clock_ms,
            health=self.health,
            inbox=self._inbox,
            wrote=self._summariser.nudge,
            version=__version__,
            max_gap_s=settings.max_gap_s,
            rules=AccessRules(demonstration=demonstration, public_url=settings.public_url),
            guesses=guesses,
        )
        self._web = web_server(Counted(app, self._traffic), settings)
        self._socket = listening_socket(settings.host, settings.port)
        self.port: int = self._socket.getsockname()[1]  # of the pages

    @property
    def mqtt_port(self) -> int:
        """The port that bridges send readings to, once ``run`` has started."""
        return self._listener.port

    def address(self) -> str:
        """Say where the pages and the door for bridges are."""
        host = self._settings.host
        host = f"[{host}]" if ":" in host else host
        return f"pages:   http://{host}:{self.port}\nbridges: mqtt://{host}:{self.mqtt_port}"

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
            await self._listener.start()
            closing.push_async_callback(self._listener.stop)
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

    def _watch(self, loop: asyncio.AbstractEventLoop, ending: Stopping) -> Watchdog:
        def give_up(why: str) -> None:
            self._given_up = why
            ending.ask()

        watched = watched_parts(
            loop,
            inbox=self._inbox,
            listener=self._listener,
            broker=self._broker,
            summariser=self._summariser,
            sealer=self._sealer,
            analyst=self._analyst,
            keeper=self._keeper,
            watcher=self._watcher,
        )
        return Watchdog(list(watched), give_up=give_up, all_well=self._manager.alive)

    def _left(self) -> str:
        return left_sentence(self._inbox.counts())

    def _say_what_is_left(self) -> None:
        if not self._given_up and not self._inbox.counts().queued:
            _log.info("stopped: %s", self._left())
            return
        raise UnavailableError(
            f"the service ends: {self._given_up or 'not everything could be stored'}",
            where=self._data_dir,
            expected=f"a writer that stores everything; {self._left()}",
            next_step="look into the log and start it again; `joulebook doctor` tells more",
        )

    def _workers(self) -> Iterator[tuple[Callable[[], None], Callable[[], None]]]:
        if self._keeper:
            yield self._keeper.start, self._keeper.stop
        yield self._watcher.start, self._watcher.stop
        yield self._analyst.start, self._analyst.stop
        yield self._sealer.start, self._sealer.stop
        yield self._summariser.start, self._summariser.stop
        yield self._inbox.start, partial(self._inbox.stop, SETTLE_S)
        if self._broker:
            yield self._broker.start, self._broker.stop

    def health(self) -> Health:
        """Say how the service does now, for /readyz and /metrics."""
        backup = last_backup(self._data_dir)
        parts = Parts(
            inbox=self._inbox.counts(),
            listener=self._listener.counts(),
            summaries=self._summariser.counts(),
            sealing=self._sealer.counts(),
            analysis=self._analyst.counts(),
            reminders=self._watcher.counts(),
            broker_connected=self._broker.connected if self._broker else None,
            workers=self._watchdog.workers() if self._watchdog else (),
            room=self._room(),
            last_backup_ms=backup.at_ms if backup else None,
            started_ms=self._started_ms,
            now_ms=self._clock_ms(),
        )
        return health_of(parts, self._traffic)

    def _room(self) -> Room | None:
        try:
            return room_of(self._data_dir)
        except OSError:
            return None


def _check_host(host: str, *, demonstration: bool) -> None:
    if demonstration and not is_this_machine(host):
        raise UsageError(
            "the demonstration stays on this machine",
            where=f"host {host}",
            expected="127.0.0.1: whoever asks from this machine may change everything there",
            next_step="serve a data directory of your own with `joulebook serve`",
        )


def free_port(preferred: int) -> int:
    """Return the preferred port of this machine, or 0 (any free one) where it is taken."""
    try:
        socket.create_server(("127.0.0.1", preferred)).close()
    except OSError:
        return 0
    return preferred
