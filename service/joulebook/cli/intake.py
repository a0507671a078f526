"""The doors for readings and the writer behind them: what `serve` and `ingest` share."""

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from joulebook.cli.doors import listener_limits, tls_context
from joulebook.cli.stopping import SETTLE_S
from joulebook.cli.watchdog import Watched
from joulebook.cli.watching import watched_doors
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.mapping.file import MAPPINGS, load_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.mqtt.broker import OURS, BrokerClient
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.mqtt.shared_broker import SharedBroker
from joulebook.ingest.throttle import Throttle
from joulebook.settings import Settings
from joulebook.storage.database import Database
from joulebook.storage.tokens import check_token, revoked_among


class Intake:
    """Takes readings in at the doors that the settings ask for, and stores them.

    Parameters
    ----------
    guesses : Throttle
        Who guesses at tokens, at this door or another.
    wrote : callable
        Called in the writer's thread after each commit.
    listens : bool
        Whether bridges may come; without it, readings come from the broker alone.

    Attributes
    ----------
    inbox : Inbox
        The writer.
    listener : Listener or None
        The door for bridges.
    broker : BrokerClient, SharedBroker or None
        The client of a broker in the house.
    """

    def __init__(
        self,
        database: Database,
        settings: Settings,
        *,
        clock_ms: Callable[[], int],
        guesses: Throttle,
        wrote: Callable[[], None] = lambda: None,
        listens: bool = True,
    ) -> None:
        mappings = Mappings(load_mappings(database.data_dir / MAPPINGS))
        self.inbox = Inbox(database, clock_ms=clock_ms, mappings=mappings, wrote=wrote)
        self.listener = (
            Listener(
                self.inbox,
                lambda name, secret: check_token(database, name, secret, now_ms=clock_ms()),
                host=settings.host,
                port=settings.mqtt_port,
                clock_ms=clock_ms,
                tls=tls_context(settings),
                limits=replace(listener_limits(settings), stop_s=SETTLE_S),
                revoked=lambda token_ids: revoked_among(database, token_ids),
                guesses=guesses,
            )
            if listens
            else None
        )
        self.broker = _broker(
            self.inbox, database, settings, [OURS, *mappings.topic_filters], clock_ms=clock_ms
        )

    async def open(self) -> None:
        """Let bridges come."""
        if self.listener:
            await self.listener.start()

    async def close(self) -> None:
        """Let nobody come any more; what is inside is answered first."""
        if self.listener:
            await self.listener.stop()

    def workers(self) -> Iterator[tuple[Callable[[], None], Callable[[], None]]]:
        """Yield how each worker is started and stopped, the writer first."""
        yield self.inbox.start, partial(self.inbox.stop, SETTLE_S)
        if self.broker:
            yield self.broker.start, self.broker.stop

    def watched(self, loop: asyncio.AbstractEventLoop) -> Iterator[Watched]:
        """Yield what a watchdog looks after."""
        return watched_doors(loop, inbox=self.inbox, listener=self.listener, broker=self.broker)


def _broker(
    inbox: Inbox,
    database: Database,
    settings: Settings,
    topic_filters: list[str],
    *,
    clock_ms: Callable[[], int],
) -> BrokerClient | SharedBroker | None:
    if not settings.broker:
        return None
    if settings.broker_share:
        return SharedBroker(
            inbox,
            database,
            url=settings.broker,
            share=settings.broker_share,
            topic_filters=topic_filters,
            clock_ms=clock_ms,
            settle_s=SETTLE_S,
        )
    return BrokerClient(
        inbox,
        url=settings.broker,
        topic_filters=topic_filters,
        client_id="joulebook",
        clock_ms=clock_ms,
        settle_s=SETTLE_S,
    )
