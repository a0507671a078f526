"""The running service: every real part is chosen here and nowhere else."""

import os
import socket
from collections.abc import Callable, Iterator

from joulebook import __version__
from joulebook.cli.health import Parts, health_of
from joulebook.cli.intake import Intake
from joulebook.cli.running import Running, Worker
from joulebook.cli.stopping import STOP_S
from joulebook.cli.systemd import ServiceManager
from joulebook.cli.watchdog import Watched
from joulebook.cli.watching import watched_workers
from joulebook.errors import UsageError
from joulebook.ingest.pace import is_this_machine
from joulebook.ingest.throttle import Throttle
from joulebook.reminders.sending import by_apprise
from joulebook.reminders.watcher import Watcher
from joulebook.settings import Settings
from joulebook.storage.backup_notes import last_backup
from joulebook.storage.database import Database
from joulebook.storage.keeper import Keeper
from joulebook.storage.sealer import Sealer
from joulebook.summaries.analyst import Analyst
from joulebook.summaries.homes.worker import HomeLines
from joulebook.summaries.summariser import Summariser
from joulebook.web.access.rules import AccessRules
from joulebook.web.app import build_app
from joulebook.web.watch.health import Health


class Service(Running):
    """One data directory's service: doors, writer, results and pages in one process.

    Parameters
    ----------
    demonstration : bool
        Whoever asks from this machine may do everything.
    manager, leave, stop_s
        As for `Running`.
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
        self._data_dir = database.data_dir
        self._clock_ms = clock_ms
        self._started_ms = clock_ms()
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
        self._homes = HomeLines(database, clock_ms=clock_ms)
        self._keeper = (
            Keeper(database, clock_ms=clock_ms, keep_years=settings.keep_years)
            if settings.keep_years
            else None
        )
        intake = Intake(
            database, settings, clock_ms=clock_ms, guesses=guesses, wrote=self._summariser.nudge
        )
        super().__init__(database, settings, intake, manager=manager, leave=leave, stop_s=stop_s)
        app = build_app(
            database,
            clock_ms=clock_ms,
            health=self.health,
            inbox=intake.inbox,
            wrote=self._summariser.nudge,
            version=__version__,
            max_gap_s=settings.max_gap_s,
            rules=AccessRules(demonstration=demonstration, public_url=settings.public_url),
            guesses=guesses,
        )
        self._serve(app)

    def address(self) -> str:
        """Say where the pages and the door for bridges are."""
        pages, bridges = self.url("http", self.port), self.url("mqtt", self.mqtt_port)
        return f"pages:   {pages}\nbridges: {bridges}"

    def _workers(self) -> Iterator[Worker]:
        if self._keeper:
            yield self._keeper.start, self._keeper.stop
        yield self._homes.start, self._homes.stop
        yield self._watcher.start, self._watcher.stop
        yield self._analyst.start, self._analyst.stop
        yield self._sealer.start, self._sealer.stop
        yield self._summariser.start, self._summariser.stop
        yield from self._intake.workers()

    def _watched(self) -> Iterator[Watched]:
        return watched_workers(
            summariser=self._summariser,
            sealer=self._sealer,
            analyst=self._analyst,
            keeper=self._keeper,
            watcher=self._watcher,
            homes=self._homes,
        )

    def health(self) -> Health:
        """Say how the service does now, for /readyz and /metrics."""
        backup = last_backup(self._data_dir)
        intake = self._intake
        parts = Parts(
            inbox=intake.inbox.counts(),
            listener=intake.listener.counts() if intake.listener else None,
            summaries=self._summariser.counts(),
            sealing=self._sealer.counts(),
            analysis=self._analyst.counts(),
            reminders=self._watcher.counts(),
            homes_failing=self._homes.rounds.failing,
            broker_connected=intake.broker.connected if intake.broker else None,
            workers=self.worker_health(),
            room=self.room(),
            on_server=self.on_server,
            last_backup_ms=backup.at_ms if backup else None,
            started_ms=self._started_ms,
            now_ms=self._clock_ms(),
        )
        return health_of(parts, self._traffic)


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
