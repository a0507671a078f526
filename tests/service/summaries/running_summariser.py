"""A summariser that runs in its thread while a test turns the clock and marks days."""

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import date

from joulebook.storage.database import Database
from joulebook.storage.days import mark_days
from joulebook.storage.records import Site
from joulebook.summaries.summariser import Summariser

#: Of the plant's days, one in their midst.
SECOND = date(2026, 6, 4)


@contextmanager
def running(
    database: Database, clock: Callable[[], int], settle_s: float = 0.0
) -> Iterator[Summariser]:
    summariser = Summariser(database, clock_ms=clock, settle_s=settle_s)
    summariser.start()
    try:
        yield summariser
    finally:
        summariser.stop()
        database.close()


def mark(database: Database, site: Site, *days: date) -> None:
    with closing(database.connect()) as connection:
        mark_days(connection, site.id, days)
