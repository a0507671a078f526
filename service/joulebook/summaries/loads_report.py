"""The loads document: hours left, the largest starts seen, and outages ridden through."""

from contextlib import closing
from datetime import date

from joulebook.core.curves import MAX_GAP_S
from joulebook.core.history import MS_PER_DAY
from joulebook.core.loads.metering import LOADS_METHOD
from joulebook.core.spans import Span, date_of, days_span
from joulebook.storage.database import Database
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.loads_held import Asked, held_document
from joulebook.summaries.loads_outages import outages_document
from joulebook.summaries.loads_starts import starts_document
from joulebook.summaries.numbers import Document, date_text, time_text
from joulebook.summaries.site_records import stored_record

#: Starts are looked for in so many days, and outages, which are rare, in a year. [days]
STARTS_DAYS, OUTAGES_DAYS = 90, 365
#: What is left is told of the newest reading; later than this it is no longer now. [s]
STALE_S = 900.0

CAUTIONS = (
    "What readings never showed can still fail: a start that is larger, or comes on top of others, "
    "or meets a battery that is cold or nearly empty.",
    "Whether wiring, breakers and inverter may carry a load is for their ratings, your local code "
    "and a licensed electrician to say; readings do not tell.",
)


#: What is used of a record's analysis.
_OF_THE_RECORD = ("energy", "capacity", "offset", "own_draw")


def loads_report(
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    *,
    now_ms: int,
    max_gap_s: float = MAX_GAP_S,
) -> Document:
    """Return what a site can carry, by its readings from ``first`` to ``last``.

    Without dates, starts are those of the last 90 days and outages those of a year. What is left
    is told of the newest reading in them.
    """
    with closing(database.connect()) as connection:
        measured = readings_span(connection, site.id)
        window = None if measured is None else _window(site, measured, first, last, now_ms)
        if window is None:
            return _nothing(site, "no readings were taken in these days")
        readings = LoadReadings(connection, site)
        stored = stored_record(connection, site, _OF_THE_RECORD)
        known = None if stored is None or "reason" in stored.document else stored.document
        # The last reading is inside.
        asked = Asked(connection, site, window.end_ms, max_gap_s)
        return {
            "site": site.name,
            "timezone": site.timezone,
            "method": LOADS_METHOD,
            "from": date_text(window.start_ms, site.zone),
            "to": date_text(window.end_ms - 1, site.zone),
            "as_of": time_text(window.end_ms - 1, site.zone),
            "as_of_ms": window.end_ms - 1,
            "stale": now_ms - window.end_ms > STALE_S * 1000,
            **held_document(asked, readings, known),
            "starts": starts_document(site, readings, _reaching(window, first, STARTS_DAYS)),
            "outages": outages_document(site, readings, _reaching(window, first, OUTAGES_DAYS)),
            "inverter_w": site.inverter_w,
            "inverter_peak_w": site.inverter_peak_w,
            "cautions": list(CAUTIONS),
        }


def _window(
    site: Site, measured: Span, first: date | None, last: date | None, now_ms: int
) -> Span | None:
    """Return the days that were asked for, no further than there are readings."""
    begin = first or date_of(measured.start_ms, site.zone)
    if last is not None and last < begin:
        return None
    days = days_span(begin, max(last or date_of(now_ms, site.zone), begin), site.zone)
    start_ms = max(days.start_ms, measured.start_ms)
    end_ms = min(days.end_ms, measured.end_ms, now_ms + 1)
    return Span(start_ms, end_ms) if start_ms < end_ms else None


def _reaching(window: Span, first: date | None, days: int) -> Span:
    """Return the last days of a window, or all of it where its beginning was named."""
    if first is not None:
        return window
    return Span(max(window.start_ms, window.end_ms - round(days * MS_PER_DAY)), window.end_ms)


def _nothing(site: Site, reason: str) -> Document:
    """Return the document of a site of which nothing was read."""
    return {
        "site": site.name,
        "timezone": site.timezone,
        "method": LOADS_METHOD,
        "from": None,
        "to": None,
        "as_of": None,
        "hours": [],
        "hours_reason": reason,
        "starts": {"list": [], "reason": reason},
        "outages": {"list": [], "reason": reason},
        "cautions": list(CAUTIONS),
        "reason": reason,
    }
