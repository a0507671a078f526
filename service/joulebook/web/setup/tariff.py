"""A tariff as its form has it: one price at all times, and rows of hours with other prices.

The form asks for less than a file does: what no row names has the price of all other times, so
there is nothing to fill up by hand.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from itertools import pairwise

from joulebook.core.money.tariff import (
    DAY_KINDS,
    DAY_MIN,
    QUARTER_MIN,
    Band,
    DayKind,
    Season,
    Tariff,
)
from joulebook.core.money.tariff_checks import Place, TariffError, check_tariff
from joulebook.web.access.forms import Form
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.setup_texts import TARIFF_LABELS, TARIFF_ROW_LABELS

#: Rows of a form that is shown for the first time, how many more at a time, and the most.
FIRST_ROWS, MORE_ROWS, MOST_ROWS = 2, 2, 20

#: Days that a row can name.
ROW_DAYS: dict[str, tuple[DayKind, ...]] = {
    "all": DAY_KINDS,
    "weekdays": ("weekdays",),
    "weekend": ("weekend", "listed"),
    "weekend-only": ("weekend",),
    "listed": ("listed",),
}
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
_MONTH_DAY = re.compile(r"(\d{1,2})-(\d{1,2})")
_LEAP_YEAR = [date(2024, 1, 1) + timedelta(days=each) for each in range(366)]


@dataclass(frozen=True, slots=True)
class Row:
    """A row that was filled in: a band, the days of the year it holds on, and its number."""

    number: int
    days: range  # of a leap year, from 0; one that spans New Year is two rows
    band: Band


def labels_of(rows: int) -> dict[str, str]:
    """Return what each field of a form is called in its list of faults."""
    named = {
        f"r{row}_{name}": f"Row {row}, {label.lower()}"
        for row in range(1, rows + 1)
        for name, label in TARIFF_ROW_LABELS.items()
    }
    return TARIFF_LABELS | named


def rows_shown(form: Form) -> int:
    """Return how many rows the page has: as many as were sent, two more where that was asked."""
    sent = form.fields.get("rows", "")
    rows = int(sent) if sent.isascii() and sent.isdigit() and len(sent) < 4 else FIRST_ROWS
    if "more" in form.fields:
        rows += MORE_ROWS
    return min(max(rows, FIRST_ROWS), MOST_ROWS)


def tariff_from(form: Form, today: date) -> Tariff | None:
    """Return the tariff that a form says, or ``None`` with its faults in the form."""
    other = Band(
        import_price=_amount(form, "import", needed=True),
        export_price=_amount(form, "export"),
    )
    rows = [row for number in range(1, rows_shown(form) + 1) for row in _row(form, number, other)]
    seasons, origin = _seasons(rows, other)
    wanted = Tariff(
        currency=form.text("currency", most=8, needed=True) or "-",
        from_day=form.day("from") or today,
        fixed_per_day=_amount(form, "fixed_per_day"),
        fixed_per_month=_amount(form, "fixed_per_month"),
        listed_dates=_listed(form),
        seasons=seasons,
    )
    if form.errors:
        return None
    try:
        check_tariff(wanted)
    except TariffError as error:
        for fault in error.faults:
            form.errors.setdefault(
                _field_of(fault.place, origin), faults.wrong(fault.what, fault.expected)
            )
        return None
    return wanted


def _amount(form: Form, name: str, *, needed: bool = False) -> Decimal:
    text = form.text(name, most=20, needed=needed).replace(",", ".")
    try:
        amount = Decimal(text or "0")
    except InvalidOperation:
        amount = Decimal("NaN")
    if not amount.is_finite():
        form.errors[name] = faults.AMOUNT
        return Decimal(0)
    return amount


def _row(form: Form, number: int, other: Band) -> Iterator[Row]:
    """Yield what a row says; nothing where its price and its hours are empty."""
    name = f"r{number}_"
    if not any(form.fields.get(name + part, "").strip() for part in ("from", "to", "import")):
        return
    export = form.fields.get(name + "export", "").strip()
    band = Band(
        days=ROW_DAYS[form.choice(name + "days", tuple(ROW_DAYS))],
        from_minute=_minute(form, name + "from", 0),
        to_minute=_minute(form, name + "to", DAY_MIN),
        import_price=_amount(form, name + "import", needed=True),
        export_price=_amount(form, name + "export") if export else other.export_price,
    )
    first = _day_of_year(form, name + "first", 0)
    last = _day_of_year(form, name + "last", 365)
    if last == 58:  # a season that ends on 28 February ends with February
        last = 59
    if first <= last:
        yield Row(number, range(first, last + 1), band)
    else:
        yield Row(number, range(last + 1), band)
        yield Row(number, range(first, 366), band)


def _minute(form: Form, name: str, otherwise: int) -> int:
    text = form.fields.get(name, "").strip()
    if not text:
        return otherwise
    found = _CLOCK.fullmatch(text)
    minute = -1 if found is None else int(found[1]) * 60 + int(found[2])
    if found is None or int(found[2]) > 59 or minute > DAY_MIN or minute % QUARTER_MIN:
        form.errors[name] = faults.QUARTER
        return otherwise
    return minute


def _day_of_year(form: Form, name: str, otherwise: int) -> int:
    text = form.fields.get(name, "").strip()
    if not text:
        return otherwise
    found = _MONTH_DAY.fullmatch(text)
    wanted = (int(found[1]), int(found[2])) if found else None
    for place, day in enumerate(_LEAP_YEAR):
        if (day.month, day.day) == wanted:
            return place
    form.errors[name] = faults.DAY_OF_YEAR
    return otherwise


def _listed(form: Form) -> tuple[date, ...]:
    days = []
    for text in form.text("listed_dates", most=4000).replace(",", " ").split():
        try:
            days.append(date.fromisoformat(text))
        except ValueError:
            form.errors["listed_dates"] = faults.no_date(text)
    return tuple(days)


def _seasons(
    rows: Sequence[Row], other: Band
) -> tuple[tuple[Season, ...], dict[tuple[int, int], int]]:
    """Return seasons that fill the year, and which row each of their bands came from."""
    edges = sorted({0, 366, *(end for row in rows for end in (row.days.start, row.days.stop))})
    seasons: list[Season] = []
    origin: dict[tuple[int, int], int] = {}
    for first, end in pairwise(edges):
        holding = [row for row in rows if first in row.days]
        for place, row in enumerate(holding):
            origin[len(seasons), place] = row.number
        bands = [row.band for row in holding]
        seasons.append(
            Season(
                first=_month_day(first),
                last=_month_day(end - 1),
                bands=(*bands, *_rest(bands, other)),
            )
        )
    return tuple(seasons), origin


def _month_day(place: int) -> tuple[int, int]:
    return _LEAP_YEAR[place].month, _LEAP_YEAR[place].day


def _rest(bands: Sequence[Band], other: Band) -> Iterator[Band]:
    """Yield bands with the price of all other times, for what no row names."""
    free: dict[tuple[int, int], list[DayKind]] = {}
    for kind in DAY_KINDS:
        for hours in _free_hours([band for band in bands if kind in band.days]):
            free.setdefault(hours, []).append(kind)
    for (first, end), kinds in free.items():
        yield replace(other, days=tuple(kinds), from_minute=first, to_minute=end)


def _free_hours(bands: Sequence[Band]) -> Iterator[tuple[int, int]]:
    """Yield from when to when no band holds on a day. [min since midnight]"""
    taken = sorted((part.start, part.stop) for band in bands for part in band.minutes())
    reached = 0
    for first, end in [*taken, (DAY_MIN, DAY_MIN)]:
        if first > reached:
            yield reached, first
        reached = max(reached, end)


def _field_of(place: Place, origin: dict[tuple[int, int], int]) -> str:
    """Return the field of the form at which a fault stands; none where it is about all of them."""
    if place[0] != "season":
        return str(place[0])
    if len(place) == 5 and isinstance(place[1], int) and isinstance(place[3], int):
        row = origin.get((place[1], place[3]))
        return str(place[4]) if row is None else f"r{row}_{place[4]}"
    return ""
