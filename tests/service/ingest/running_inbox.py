"""An inbox that writes in a thread of its own, and a door that waits for its verdicts."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager

from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Verdict
from joulebook.storage.database import Database
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from tests.helpers.packs import NOW_MS, VOLTAGE, message

GOOD = message([VOLTAGE])
BAD = message(b"nonsense")


class Door:
    """Collects verdicts as a door would, and waits for them."""

    def __init__(self) -> None:
        self.verdicts: list[list[Verdict]] = []
        self._heard = threading.Condition()

    def settled(self, verdicts: Sequence[Verdict]) -> None:
        with self._heard:
            self.verdicts.append(list(verdicts))
            self._heard.notify_all()

    def wait(self, parts: int) -> None:
        with self._heard:
            assert self._heard.wait_for(lambda: len(self.verdicts) >= parts, 10)


@contextmanager
def running(
    database: Database,
    *,
    wrote: Callable[[], None] = lambda: None,
    room: int = 20_000,
    retry_s: float = 0.01,
) -> Iterator[Inbox]:
    inbox = Inbox(database, clock_ms=lambda: NOW_MS, wrote=wrote, room=room, retry_s=retry_s)
    inbox.start()
    try:
        yield inbox
    finally:
        inbox.stop()
        assert not inbox.counts().alive


def voltages(database: Database, site: Site) -> list[tuple[int, object]]:
    with closing(database.connect()) as connection:
        return [(one.at_ms, one.value) for one in latest_readings(connection, site.id)]
