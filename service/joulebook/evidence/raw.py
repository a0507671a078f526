"""The readings as they came, of as many whole days as a file can bear."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.evidence.tables import instant
from joulebook.export.csv_files import csv_lines
from joulebook.export.tables import table_parts
from joulebook.storage.database import Database
from joulebook.storage.periods import DAY_MS, day_of
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Series, Site
from joulebook.storage.seal_links import sealed_readings
from joulebook.storage.series import series_of

#: Readings that are put in at most: some 60 MB of text. (our choice)
MOST_READINGS = 12_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RawReadings:
    """Which readings are put in: all numbers of the batteries, of whole UTC days.

    Attributes
    ----------
    series : tuple of Series
        Empty where there are none.
    span : Span
        From the first day put in to the newest reading.
    whole : bool
        Whether it is the whole record.
    """

    series: tuple[Series, ...]
    span: Span
    whole: bool

    @property
    def begins(self) -> str | None:
        """The first day's beginning, RFC 3339 in UTC."""
        return instant(self.span.start_ms)


def raw_readings(
    database: Database, site: Site, *, most_readings: int = MOST_READINGS
) -> RawReadings:
    """Choose the newest days that together have no more than so many readings, one at least."""
    with closing(database.connect()) as connection:
        series = tuple(
            each
            for each in series_of(connection, site.id)
            if each.kind == "number" and kind_of(each.device) == "battery"
        )
        span = readings_span(connection, site.id)
        if span is None or not series:
            return RawReadings(series=(), span=Span(0, 0), whole=True)
        devices = sorted({each.device_id for each in series})
        sealed = sealed_readings(connection, site.id, devices)
        first = _first_day(sealed, span, most_readings)
    start_ms = max(first * DAY_MS, day_of(span.start_ms) * DAY_MS)
    return RawReadings(
        series=series, span=Span(start_ms, span.end_ms), whole=start_ms <= span.start_ms
    )


def raw_lines(database: Database, raw: RawReadings) -> Iterator[str]:
    """Yield them as the CSV that ``joulebook import`` reads."""
    with closing(database.connect()) as connection:
        # A damaged block is named elsewhere; what it held is missing here.
        parts = table_parts(connection, raw.series, raw.span, lacking=lambda _damaged: None)
        yield from csv_lines(raw.series, parts)


def _first_day(sealed: list[tuple[int, int]], span: Span, most_readings: int) -> int:
    """Return the earliest UTC day from which on the readings are not too many."""
    for day, readings in sealed:
        most_readings -= readings
        if most_readings < 0:
            return min(day + 1, day_of(span.end_ms - 1))
    return day_of(span.start_ms)
