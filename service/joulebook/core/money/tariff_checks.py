"""Whether a tariff says exactly one price for every minute of every day, and if not, where."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from joulebook.core.money.tariff import (
    DAY_KINDS,
    DAY_MIN,
    QUARTER_MIN,
    Band,
    DayKind,
    Season,
    Tariff,
    clock_text,
)

#: Where a fault is: ``("season", 0, "band", 1, "to")``; numbers count from 0.
Place = tuple[str | int, ...]

# The bounds only catch slips of the pen, as cents for whole units; prices below zero happen.
MOST_A_KWH, MOST_FIXED = Decimal(10_000), Decimal(1_000_000)
MOST_SEASONS, MOST_BANDS, MOST_LISTED = 12, 100, 400
MOST_PLACES = 6  # digits after the point
_LONGEST_CURRENCY, _LONGEST_NAME = 8, 40
_LEAP_YEAR = [date(2024, 1, 1) + timedelta(days=each) for each in range(366)]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong at one place of a tariff, and what was expected there."""

    place: Place
    what: str
    expected: str

    @property
    def where(self) -> str:
        """The place in words: "season 1, band 2, to"."""
        words: list[str] = []
        for part in self.place:
            if isinstance(part, int):
                words[-1] += f" {part + 1}"
            else:
                words.append(part)
        return ", ".join(words)


class TariffError(ValueError):
    """A tariff that cannot be used; ``faults`` says all that is wrong with it."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(f"{each.where}: {each.what}" for each in faults))
        self.faults = faults


def check_tariff(tariff: Tariff) -> None:
    """Raise where a tariff leaves a minute without a price, gives one two, or makes no sense.

    Raises
    ------
    TariffError
        If so, with every fault.
    """
    faults = [*_plain_faults(tariff), *_season_faults(tariff)]
    for number, season in enumerate(tariff.seasons):
        faults += _band_faults(("season", number), season, listed=bool(tariff.listed_dates))
    if faults:
        raise TariffError(faults)


def _plain_faults(tariff: Tariff) -> Iterator[Fault]:
    if not 0 < len(tariff.currency.strip()) <= _LONGEST_CURRENCY:
        yield Fault(
            ("currency",), f"{tariff.currency!r} does not do", f"1 to {_LONGEST_CURRENCY} letters"
        )
    if not 2000 <= tariff.from_day.year <= 2199:
        yield Fault(("from",), f"{tariff.from_day} does not do", "a date from 2000 to 2199")
    for name in ("fixed_per_day", "fixed_per_month"):
        yield from _amount_fault((name,), getattr(tariff, name), MOST_FIXED)
    if len(tariff.listed_dates) > MOST_LISTED:
        yield Fault(("listed_dates",), "too many dates", f"at most {MOST_LISTED}")


def _amount_fault(place: Place, amount: Decimal, most: Decimal) -> Iterator[Fault]:
    exponent = amount.as_tuple().exponent
    if not amount.is_finite() or abs(amount) > most:
        yield Fault(place, f"{amount} does not do", f"a number from -{most} to {most}")
    elif isinstance(exponent, int) and exponent < -MOST_PLACES:
        yield Fault(place, f"{amount} is too exact", f"{MOST_PLACES} digits after the point")


def _season_faults(tariff: Tariff) -> Iterator[Fault]:
    if not 0 < len(tariff.seasons) <= MOST_SEASONS:
        yield Fault(("season",), f"there are {len(tariff.seasons)} seasons", f"1 to {MOST_SEASONS}")
        return
    known = True
    for number, season in enumerate(tariff.seasons):
        if len(season.name) > _LONGEST_NAME:
            yield Fault(
                ("season", number, "name"), "the name is too long", f"{_LONGEST_NAME} letters"
            )
        for end in ("first", "last"):
            month, day = getattr(season, end)
            if not any((each.month, each.day) == (month, day) for each in _LEAP_YEAR):
                known = False
                yield Fault(
                    ("season", number, end),
                    f"{month:02d}-{day:02d} is no day of a year",
                    "a month and a day such as 04-01",
                )
    if known:
        yield from _uncovered_days(tariff)


def _uncovered_days(tariff: Tariff) -> Iterator[Fault]:
    for day in _LEAP_YEAR:
        holding = [
            number for number, each in enumerate(tariff.seasons) if each.holds(day.month, day.day)
        ]
        if not holding:
            yield Fault(
                ("season",), f"no season holds on {day:%m-%d}", "seasons that fill the whole year"
            )
            return
        if len(holding) > 1:
            yield Fault(
                ("season", holding[1], "first"),
                f"two seasons hold on {day:%m-%d}",
                "seasons that do not overlap",
            )
            return


def _band_faults(place: Place, season: Season, *, listed: bool) -> Iterator[Fault]:
    if not 0 < len(season.bands) <= MOST_BANDS:
        yield Fault((*place, "band"), f"there are {len(season.bands)} bands", f"1 to {MOST_BANDS}")
        return
    sound = True
    for number, band in enumerate(season.bands):
        for fault in _own_faults((*place, "band", number), band):
            sound = False
            yield fault
    if sound:
        for kind in DAY_KINDS:
            if kind != "listed" or listed:
                yield from _cover_faults(place, season, kind)


def _own_faults(place: Place, band: Band) -> Iterator[Fault]:
    if not band.days:
        yield Fault((*place, "days"), "no day was named", "one of " + ", ".join(DAY_KINDS))
    for name, minute in (("from", band.from_minute), ("to", band.to_minute)):
        if minute % QUARTER_MIN or not 0 <= minute <= DAY_MIN:
            yield Fault(
                (*place, name),
                f"{clock_text(minute)} does not do",
                "a quarter of an hour from 00:00 to 24:00",
            )
    if band.from_minute == band.to_minute:
        yield Fault((*place, "to"), "the band has no length", "another time than it begins")
    yield from _amount_fault((*place, "import"), band.import_price, MOST_A_KWH)
    yield from _amount_fault((*place, "export"), band.export_price, MOST_A_KWH)


def _cover_faults(place: Place, season: Season, kind: DayKind) -> Iterator[Fault]:
    """Find the first minute of a kind of day without a price, or with two."""
    taken: dict[int, int] = {}
    for number, band in enumerate(season.bands):
        if kind not in band.days:
            continue
        for minute in (minute for part in band.minutes() for minute in part[::QUARTER_MIN]):
            if minute in taken:
                yield Fault(
                    (*place, "band", number, "from"),
                    f"bands {taken[minute] + 1} and {number + 1} both hold at"
                    f" {clock_text(minute)} on {_SPOKEN[kind]}",
                    "bands that do not overlap",
                )
                return
            taken[minute] = number
    for minute in range(0, DAY_MIN, QUARTER_MIN):
        if minute not in taken:
            yield Fault(
                (*place, "band"),
                f"no band holds at {clock_text(minute)} on {_SPOKEN[kind]}",
                "bands that fill the 24 hours",
            )
            return


_SPOKEN: dict[DayKind, str] = {
    "weekdays": "weekdays",
    "weekend": "the weekend",
    "listed": "listed dates",
}
