"""Times as files write them: RFC 3339, or seconds since 1970."""

import re
from datetime import UTC, datetime

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_RFC3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:(?P<second>\d\d)(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)
_SECONDS = re.compile(r"[+-]?\d{1,12}(\.\d*)?([eE][+-]?\d{1,2})?", re.ASCII)

# Far beyond every calendar, and far within the integers of an array.
_MOST_SECONDS = 1e12


def instant_of(text: str) -> int:
    """Return the instant that a text names, to the nearest millisecond. [ms, UTC epoch]

    A leap second, which neither Unix time nor Python knows, becomes the last millisecond before.

    Raises
    ------
    ValueError
        If the text is no date of RFC 3339 (an offset from UTC is part of it) and no number.
    """
    match = _RFC3339.fullmatch(text)
    if match is None:
        if _SECONDS.fullmatch(text) and abs(float(text)) < _MOST_SECONDS:
            return round(float(text) * 1000)
        raise ValueError("no RFC 3339 time with an offset and no Unix seconds")
    if match["second"] == "60":
        return _leap_second(text)
    return _ms(datetime.fromisoformat(text.upper()))


def _leap_second(text: str) -> int:
    last = datetime.fromisoformat((text[:17] + "59" + text[19:]).upper()).astimezone(UTC)
    if (last.month, last.day) not in ((6, 30), (12, 31)) or (last.hour, last.minute) != (23, 59):
        raise ValueError("no leap second: they end June and December in UTC")
    return _ms(last.replace(microsecond=999_000))


def _ms(instant: datetime) -> int:
    since = instant - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1000 + round(since.microseconds / 1000)
