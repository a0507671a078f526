"""Numbers and texts as the PDF writes them: points for decimals, ISO dates, one alphabet."""

from datetime import UTC, datetime
from html import escape

from joulebook.summaries.numbers import Document

NOT_ENTERED = "not entered"


def shown(text: object) -> str:
    """Return a text for a paragraph: escaped, and without letters that the font does not have.

    The PDF's own fonts know the Latin letters of Windows-1252; another one is named by its number.
    """
    return escape("".join(each if _known(each) else f"[U+{ord(each):04X}]" for each in str(text)))


def _known(letter: str) -> bool:
    try:
        return bool(letter.encode("cp1252"))
    except UnicodeEncodeError:
        return False


def moment(at_ms: int | None) -> str:
    """Return an instant to the minute, in UTC; nothing where there is none."""
    if at_ms is None:
        return ""
    return f"{datetime.fromtimestamp(at_ms / 1000, tz=UTC):%Y-%m-%d %H:%M} UTC"


def fixed(value: float | None, digits: int) -> str:
    """Return a number with so many decimals, thousands apart; "not given" where it is missing."""
    return "not given" if value is None else f"{value:,.{digits}f}".replace(",", " ")


def percent(value: float | None, digits: int = 1) -> str:
    """Return a ratio as per cent."""
    return "not given" if value is None else f"{100 * value:.{digits}f} %"


def within(low: float | None, high: float | None, digits: int) -> str:
    """Return an interval; nothing where it is missing."""
    return "" if low is None or high is None else f"{fixed(low, digits)} to {fixed(high, digits)}"


def cells_of(
    document: Document, names: tuple[str, str, str], digits: int, scale: float = 1.0
) -> tuple[str, str, str, str]:
    """Return a number's cells: value, interval, coverage, method; or why it is not given."""
    value, low, high = (document.get(name) for name in names)
    method = document.get("method", "")
    if value is None:
        return f"not given: {document.get('reason', 'nothing was measured')}", "", "", method
    ends = [None if each is None else scale * each for each in (low, high)]
    return (
        fixed(scale * value, digits),
        within(ends[0], ends[1], digits),
        percent(document.get("coverage_ratio"), 0) if "coverage_ratio" in document else "",
        method,
    )
