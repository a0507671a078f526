"""Day results as they are stored: JSON of the core's own records."""

from contextlib import closing
from datetime import date

import msgspec

from joulebook.core.days import METHOD, DayResult
from joulebook.storage.database import Database
from joulebook.storage.days import day_results
from joulebook.storage.records import Site

_decoder = msgspec.json.Decoder(DayResult)
_encoder = msgspec.json.Encoder()


def encoded(result: DayResult) -> bytes:
    """Return a day result as JSON."""
    return _encoder.encode(result)


def decoded(result_json: bytes) -> DayResult:
    """Return the day result of a JSON text that `encoded` made.

    Raises
    ------
    msgspec.ValidationError
        If the text is not one.
    """
    return _decoder.decode(result_json)


def day_results_of(
    database: Database, site: Site, first: date | None, last: date | None
) -> list[DayResult]:
    """Return a site's day results from ``first`` to ``last``, both included, in order.

    Those of an earlier version of the method are left out: their days are computed anew soon. So
    are days without a reading of their own: a reading just after midnight reaches the day before,
    which is then computed too, without being a day on which anything was measured.
    """
    with closing(database.connect()) as connection:
        stored = day_results(connection, site.id, first, last)
    results = (decoded(result) for _, method, result in stored if method == METHOD)
    return [result for result in results if result.readings]
