"""How text and values from outside are shown in a sentence: quoted, cut, never trusted."""

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def shown(value: object, most: int = 80) -> str:
    """Return a value as a sentence can hold it: quoted where it is text, cut where it is long."""
    try:
        text = repr(value if not isinstance(value, str | bytes) else value[: most + 1])
    except ValueError:  # Python writes no integer of more than 4300 digits
        return "a number of thousands of digits"
    return text if len(text) <= most + 2 else text[:most] + "…"


def shown_time(at_ms: int) -> str:
    """Return an instant as RFC 3339 in UTC, or as milliseconds where no calendar reaches."""
    try:
        instant = _EPOCH + timedelta(milliseconds=at_ms)
    except OverflowError:
        return f"{at_ms} ms"
    return instant.isoformat(timespec="milliseconds").replace("+00:00", "Z")
