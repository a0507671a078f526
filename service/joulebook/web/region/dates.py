"""How dates and times read for a person: English words, in the order of the reader's region."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from joulebook.web.region.regions import current

NBSP = "\N{NO-BREAK SPACE}"
DASH = "\N{EN DASH}"

_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def day_long(day: date) -> str:
    """Return such as "Wednesday 25 November 2026"."""
    comma = "," if current().order == "mdy" else ""
    return f"{_DAYS[day.weekday()]}{comma} {day_plain(day)}"


def day_plain(day: date) -> str:
    """Return such as "25 November 2026"."""
    return _dated(_day_of_month(day, _MONTHS[day.month - 1]), day.year, " ")


def day_short(day: date) -> str:
    """Return such as "Wed 25", for a table within one week."""
    return f"{_DAYS[day.weekday()][:3]}{NBSP}{day.day}"


def month_long(day: date) -> str:
    """Return such as "November 2026"."""
    return f"{_MONTHS[day.month - 1]} {day.year}"


def month_name(day: date) -> str:
    """Return such as "November"."""
    return _MONTHS[day.month - 1]


def month_short(day: date) -> str:
    """Return such as "Nov 2026"."""
    return f"{_MONTHS[day.month - 1][:3]}{NBSP}{day.year}"


def day_brief(day: date) -> str:
    """Return such as "25 Nov 2026", for a table that spans years."""
    return _dated(_day_of_month(day, _MONTHS[day.month - 1][:3]), day.year, NBSP)


def day_of_year(day: date) -> str:
    """Return such as "1 Jun", for a day that is meant in every year."""
    return _day_of_month(day, _MONTHS[day.month - 1][:3])


def iso_plain(text: str) -> str:
    """Return the date of an ISO text, such as "25 November 2026"."""
    return day_plain(date.fromisoformat(text[:10]))


def iso_brief(text: str) -> str:
    """Return the date of an ISO text, such as "25 Nov 2026"."""
    return day_brief(date.fromisoformat(text[:10]))


def quarter(day: date) -> str:
    """Return the quarter of the year that holds a date, such as "Jul to Sep 2026" with a dash."""
    first = 3 * ((day.month - 1) // 3)
    return f"{_MONTHS[first][:3]}{DASH}{_MONTHS[first + 2][:3]}{NBSP}{day.year}"


def days_between(first: date, last: date) -> str:
    """Return such as "23 to 29 November 2026", naming month and year only once where they agree."""
    if first.year != last.year:
        return f"{day_plain(first)} to {day_plain(last)}"
    begins = _day_of_month(first, _MONTHS[first.month - 1])
    ends = _day_of_month(last, _MONTHS[last.month - 1])
    if first.month == last.month:
        if current().order == "dmy":
            begins = str(first.day)
        else:
            ends = str(last.day)
    return _dated(f"{begins} to {ends}", last.year, " ")


def clock(at_ms: int, zone: ZoneInfo) -> str:
    """Return the local time of day, such as "07:05"."""
    return _clock(datetime.fromtimestamp(at_ms / 1000, tz=zone))


def clock_tick(at_ms: int, zone: ZoneInfo) -> str:
    """Return the same for an axis, where a full hour of a half day needs no minutes: "8 AM"."""
    return clock(at_ms, zone).replace(f"{current().colon}00{NBSP}", NBSP)


def moment(at_ms: int, zone: ZoneInfo) -> str:
    """Return date and time with the zone's abbreviation, "25 November 2026 07:05 EST"."""
    local = datetime.fromtimestamp(at_ms / 1000, tz=zone)
    return f"{day_plain(local.date())} {_clock(local)} {local:%Z}"


def _clock(local: datetime) -> str:
    region = current()
    if region.half_days:
        half = "AM" if local.hour < 12 else "PM"
        return f"{(local.hour - 1) % 12 + 1}{region.colon}{local:%M}{NBSP}{half}"
    return f"{local:%H}{region.colon}{local:%M}"


def _day_of_month(day: date, month: str) -> str:
    if current().order == "dmy":
        return f"{day.day}{NBSP}{month}"
    return f"{month}{NBSP}{day.day}"


def _dated(days: str, year: int, space: str) -> str:
    order = current().order
    if order == "ymd":
        return f"{year}{space}{days}"
    return f"{days}{',' if order == 'mdy' else ''}{space}{year}"
