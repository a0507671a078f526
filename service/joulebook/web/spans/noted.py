"""The events of a span, numbered as figures and the lists below them number them."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date

from joulebook.core.spans import Span, local_day
from joulebook.storage.database import Database
from joulebook.storage.events import events_of
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.words.record_texts import EVENT_KINDS


@dataclass(frozen=True, slots=True)
class Noted:
    """One event as a page shows it; ``number`` counts within the span, from 1."""

    number: int
    at_ms: int
    title: str
    when: str
    kind: str
    note: str


def noted_in(database: Database, site: Site, span: Span) -> list[Noted]:
    """Return the events of a span in order of time; those taken back are not among them."""
    with closing(database.connect()) as connection:
        events = events_of(connection, site.id)
    within = [each for each in events if span.start_ms <= each.at_ms < span.end_ms]
    return [
        Noted(
            number=number,
            at_ms=each.at_ms,
            title=each.title,
            when=formats.moment(each.at_ms, site.zone),
            kind=EVENT_KINDS[each.kind],
            note=each.note,
        )
        for number, each in enumerate(within, start=1)
    ]


def within(noted: Sequence[Noted], span: Span) -> list[Noted]:
    """Return those of a part of their span; each keeps its number."""
    return [each for each in noted if span.start_ms <= each.at_ms < span.end_ms]


def noted_since(database: Database, site: Site, first: date, *, now_ms: int) -> list[Noted]:
    """Return the events from a local day on until now."""
    start_ms = local_day(first, site.zone).start_ms
    return noted_in(database, site, Span(start_ms, max(start_ms, now_ms + 1)))


def noted_of_record(
    database: Database, site: Site, record: Document, *, now_ms: int
) -> list[Noted]:
    """Return the events since a record began; none where it is not analysed.

    Parameters
    ----------
    record : Document
        What a document says of the analysis.
    """
    if "reason" in record:
        return []
    return noted_since(database, site, date.fromisoformat(record["from"]), now_ms=now_ms)
