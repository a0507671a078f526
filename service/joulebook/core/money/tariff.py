"""What a kilowatt-hour costs from a day on: seasons of the year, kinds of days, bands of hours.

Times of day are those of the clock on the wall: an hour that comes twice is paid twice, one that
is skipped is not paid. Prices are exact decimals of a currency that only has a name here.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, get_args

DayKind = Literal["weekdays", "weekend", "listed"]
DAY_KINDS: tuple[DayKind, ...] = get_args(DayKind)

#: Bands begin and end on quarters of an hour, for energies are known by these. [min]
QUARTER_MIN = 15
DAY_MIN = 1440


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Hours of the day that share their prices.

    Attributes
    ----------
    days : tuple of DayKind
        On which kinds of days it holds.
    from_minute, to_minute : int
        By the clock, half-open; one that ends before it begins goes on after midnight, on the
        same kind of day. [min since midnight]
    import_price, export_price : Decimal
        Of what is bought and sold. [currency per kWh]
    """

    days: tuple[DayKind, ...] = DAY_KINDS
    from_minute: int = 0
    to_minute: int = DAY_MIN
    import_price: Decimal
    export_price: Decimal = Decimal(0)

    def minutes(self) -> list[range]:
        """Return the parts of a day from midnight to midnight that it takes."""
        if self.from_minute < self.to_minute:
            return [range(self.from_minute, self.to_minute)]
        parts = [range(self.to_minute), range(self.from_minute, DAY_MIN)]
        return [part for part in parts if part]


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """Part of the year, every year the same; one that ends before it begins spans New Year.

    Attributes
    ----------
    name : str
        Empty for a tariff without seasons.
    first, last : tuple of int
        Month and day, both included. One that ends on 28 February ends with February.
    bands : tuple of Band
        Every kind of day is full of them, and none overlaps another.
    """

    name: str = ""
    first: tuple[int, int] = (1, 1)
    last: tuple[int, int] = (12, 31)
    bands: tuple[Band, ...]

    def holds(self, month: int, day: int) -> bool:
        """Tell whether a day of the year belongs to it."""
        last = (2, 29) if self.last == (2, 28) else self.last
        if self.first <= last:
            return self.first <= (month, day) <= last
        return (month, day) >= self.first or (month, day) <= last


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """One version of what energy costs, from a local day on until a later version begins.

    Attributes
    ----------
    currency : str
        How amounts are named, such as ``EUR`` or ``$``.
    from_day : date
        The first local day on which it holds.
    fixed_per_day, fixed_per_month : Decimal
        What is paid whether energy flows or not. [currency]
    listed_dates : tuple of date
        Days with bands of their own, such as holidays.
    seasons : tuple of Season
        Every day of a year belongs to exactly one.
    """

    currency: str
    from_day: date
    fixed_per_day: Decimal = Decimal(0)
    fixed_per_month: Decimal = Decimal(0)
    listed_dates: tuple[date, ...] = ()
    seasons: tuple[Season, ...]

    def kind_of(self, day: date) -> DayKind:
        """Return which bands hold on a date; a listed date is first of all that."""
        if day in self.listed_dates:
            return "listed"
        return "weekend" if day.weekday() >= 5 else "weekdays"

    def season_of(self, day: date) -> Season:
        """Return the season of a date."""
        return next(each for each in self.seasons if each.holds(day.month, day.day))


def clock_text(minute: int) -> str:
    """Return a time of day such as "07:30"; the end of the day is "24:00"."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def one_price(
    currency: str,
    from_day: date,
    *,
    import_price: Decimal,
    export_price: Decimal = Decimal(0),
    fixed_per_day: Decimal = Decimal(0),
    fixed_per_month: Decimal = Decimal(0),
) -> Tariff:
    """Return the simplest tariff: the same price at all times."""
    band = Band(import_price=import_price, export_price=export_price)
    return Tariff(
        currency=currency,
        from_day=from_day,
        fixed_per_day=fixed_per_day,
        fixed_per_month=fixed_per_month,
        seasons=(Season(bands=(band,)),),
    )
