"""The running service: every real part is chosen here and nowhere else."""

import asyncio
import contextlib
import logging
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack

import uvicorn

from joulebook import __version__
from joulebook.cli.doors import (
    listener_limits,
    listening_socket,
    make_room_for_connections,
    tls_context,
)
from joulebook.cli.health import health_of
from joulebook.errors import UsageError
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.mapping.file import MAPPINGS, load_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.mqtt.broker import OURS, BrokerClient
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.throttle import Throttle
from joulebook.settings import Settings
from joulebook.storage.database import Database
from joulebook.storage.keeper import Keeper
from joulebook.storage.sealer import Sealer
from joulebook.storage.tokens import check_token, revoked_among
from joulebook.summaries.analyst import Analyst
from joulebook.summaries.summariser import Summariser
from joulebook.web.access.direct import is_loopback
from joulebook.web.access.rules import AccessRules
from joulebook.web.app import build_app
from joulebook.web.health import Health

_log = logging.getLogger(__name__)


class Service:
    """One data directory's service. ``run`` returns after SIGINT or SIGTERM, all settled."""

    def __init__(
        self,
        database: Database,
        settings: Settings,
        *,
        clock_ms: Callable[[], int],
        demonstration: bool = False,
    ) -> None:
        _check_host(settings.host, demonstration=demonstration)
        self._settings = settings
        guesses = Throttle()  # at tokens, at either door
        self._summariser = Summariser(database, clock_ms=clock_ms, max_gap_s=settings.max_gap_s)
        self._sealer = Sealer(database, clock_ms=clock_ms)
        self._analyst = Analyst(database, clock_ms=clock_ms, max_gap_s=settings.max_gap_s)
        mappings = Mappings(load_mappings(database.data_dir / MAPPINGS))
        self._inbox = Inbox(
            database, clock_ms=clock_ms, mappings=mappings, wrote=self._summariser.nudge
        )
        self._listener = Listener(
            self._inbox,
            lambda name, secret: check_token(database, name, secret),
            host=settings.host,
            port=settings.mqtt_port,
            clock_ms=clock_ms,
            tls=tls_context(settings),
            limits=listener_limits(settings),
            revoked=lambda token_ids: revoked_among(database, token_ids),
        )
        self._broker = (
            BrokerClient(
                self._inbox,
                url=settings.broker,
                topic_filters=[OURS, *mappings.topic_filters],
                client_id="joulebook",
                clock_ms=clock_ms,
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
            rules=AccessRules(
                demonstration=demonstration, secure=settings.public_url.startswith("https:")
            ),
            tokens=guesses,
        )
        self._web = _WebServer(
            uvicorn.Config(
                app,
                log_config=None,
                lifespan="off",
                server_header=False,
                # By itself it would believe any program at this machine.
                proxy_headers=bool(settings.trusted_proxies),
                forwarded_allow_ips=settings.trusted_proxies,
            )
        )
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
        """
        loop = asyncio.get_running_loop()
        make_room_for_connections(self._settings)
        async with AsyncExitStack() as closing:
            closing.callback(self._socket.close)
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.add_signal_handler(number, self._web.stop)
                closing.callback(loop.remove_signal_handler, number)
            # Closed in the opposite order: the doors first, then the writer, so that what is
            # already inside is committed and acknowledged.
            for start, stop in self._workers():
                start()
                closing.push_async_callback(asyncio.to_thread, stop)
            await self._listener.start()
            closing.push_async_callback(self._listener.stop)
            started()
            await self._web.serve(sockets=[self._socket])
            _log.info("stopping")
            await asyncio.to_thread(stopping)

    def _workers(self) -> Iterator[tuple[Callable[[], None], Callable[[], None]]]:
        if self._keeper:
            yield self._keeper.start, self._keeper.stop
        yield self._analyst.start, self._analyst.stop
        yield self._sealer.start, self._sealer.stop
        yield self._summariser.start, self._summariser.stop
        yield self._inbox.start, self._inbox.stop
        if self._broker:
            yield self._broker.start, self._broker.stop

    def health(self) -> Health:
        """Say how the service does now, for /readyz and /metrics."""
        return health_of(
            self._inbox.counts(),
            self._listener.counts(),
            self._summariser.counts(),
            self._sealer.counts(),
            self._analyst.counts(),
            broker_connected=self._broker.connected if self._broker else None,
        )


class _WebServer(uvicorn.Server):
    """uvicorn without its own signal handlers, which would end the process before the writer."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield

    def stop(self) -> None:
        """Finish the requests under way and return from ``serve``."""
        self.should_exit = True


def _check_host(host: str, *, demonstration: bool) -> None:
    if demonstration and not is_loopback(host):
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
