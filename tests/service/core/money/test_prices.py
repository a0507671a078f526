"""Bands by the clock on the wall, in zones whose clocks change by an hour and by half of one.

The days of the changes are those of the IANA time zone database (2026: Europe 29 March and 25
October, USA 8 March and 1 November, Lord Howe Island 5 April and 4 October).
"""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.money.prices import fixed_fee, prices_of, version_on
from joulebook.core.money.tariff import Band, Season, Tariff, one_price
from joulebook.core.spans import Span, days_span
from tests.helpers.priced import quarters_of, two_bands

LISBON = ZoneInfo("Europe/Lisbon")


def hours_in_bands(day: date, zone: ZoneInfo) -> tuple[float, float]:
    """Return how many hours of a day have the price of the night, and of the day."""
    _, start_ms = quarters_of(day, day, zone)
    price = prices_of([two_bands()], start_ms, zone).import_price
    return float(np.sum(price == 0.10)) / 4, float(np.sum(price == 0.30)) / 4


@pytest.mark.parametrize(
    ("zone", "day", "night_h"),
    [
        ("Europe/Lisbon", date(2026, 3, 28), 6.0),
        ("Europe/Lisbon", date(2026, 3, 29), 5.0),  # 01:00 to 02:00 is skipped
        ("Europe/Lisbon", date(2026, 10, 25), 7.0),  # 01:00 to 02:00 comes twice
        ("America/Chicago", date(2026, 3, 8), 5.0),
        ("America/Chicago", date(2026, 11, 1), 7.0),
        ("Australia/Lord_Howe", date(2026, 4, 5), 6.5),  # half an hour comes twice
        ("Australia/Lord_Howe", date(2026, 10, 4), 5.5),
        ("Asia/Kathmandu", date(2026, 3, 29), 6.0),  # 5 h 45 min ahead of UTC
    ],
)
def test_the_hour_that_comes_twice_is_priced_twice(zone: str, day: date, night_h: float) -> None:
    assert hours_in_bands(day, ZoneInfo(zone)) == (night_h, 18.0)


def test_a_version_changes_at_local_midnight() -> None:
    chicago = ZoneInfo("America/Chicago")
    first = one_price("$", date(2026, 1, 1), import_price=Decimal("0.1"))
    second = one_price("$", date(2026, 7, 2), import_price=Decimal("0.2"))
    _, start_ms = quarters_of(date(2026, 7, 1), date(2026, 7, 2), chicago)
    price = prices_of([first, second], start_ms, chicago).import_price
    assert price.tolist() == [0.1] * 96 + [0.2] * 96


def test_before_the_first_version_there_is_no_price() -> None:
    _, start_ms = quarters_of(date(2026, 1, 1), date(2026, 1, 2), LISBON)
    prices = prices_of([two_bands(date(2026, 1, 2))], start_ms, LISBON)
    assert np.isnan(prices.import_price[:96]).all()
    assert np.isnan(prices.export_price[:96]).all()
    assert prices.band[:96].tolist() == [-1] * 96
    assert prices.export_price[96:].tolist() == [0.02] * 24 + [0.05] * 72
    assert prices.currencies == ["EUR"]


def test_no_quarter_hours_have_no_prices() -> None:
    prices = prices_of([two_bands()], np.empty(0, np.int64), LISBON)
    assert (prices.band.size, prices.import_price.size, prices.currencies) == (0, 0, [])


def seasonal(first: tuple[int, int], last: tuple[int, int]) -> Tariff:
    """Return a tariff of 0.5 in a season, on weekdays; 0.2 at its weekends and 0.1 outside."""
    workdays = Band(days=("weekdays",), import_price=Decimal("0.5"))
    rest = Band(days=("weekend", "listed"), import_price=Decimal("0.2"))
    after = date(2023, *last) + timedelta(days=1)
    before = date(2023, *first) - timedelta(days=1)
    return Tariff(
        currency="EUR",
        from_day=date(2020, 1, 1),
        listed_dates=(date(2024, 2, 29),),
        seasons=(
            Season(first=first, last=last, bands=(workdays, rest)),
            Season(
                first=(after.month, after.day),
                last=(before.month, before.day),
                bands=(Band(import_price=Decimal("0.1")),),
            ),
        ),
    )


def test_seasons_and_kinds_of_days_through_a_leap_year() -> None:
    tariff = seasonal((2, 1), (2, 28))
    _, start_ms = quarters_of(date(2024, 1, 31), date(2024, 3, 1), LISBON)
    price = prices_of([tariff], start_ms, LISBON).import_price[::96]
    # 31 January; February begins on a Thursday; the 29th is listed; 1 March.
    week = [0.5, 0.5, 0.2, 0.2, 0.5, 0.5, 0.5]
    assert price.tolist() == [0.1, *week, *week, *week, *week, 0.2, 0.1]


def test_the_fee_of_a_month_is_spread_over_its_days() -> None:
    tariff = replace(two_bands(fixed_per_month="31"), fixed_per_day=Decimal("0.5"))
    # March has 31 days, one of them of 23 hours: 31 + 31 · 0.5.
    march = days_span(date(2026, 3, 1), date(2026, 3, 31), LISBON)
    assert fixed_fee([tariff], march, LISBON) == pytest.approx((46.5, 1.0))
    # A day of February in a leap year: 31/29 + 0.5.
    leap = days_span(date(2024, 2, 29), date(2024, 2, 29), LISBON)
    assert fixed_fee([tariff], leap, LISBON) == pytest.approx((31 / 29 + 0.5, 1.0))


def test_the_fee_of_a_day_counts_by_its_part() -> None:
    tariff = one_price(
        "EUR", date(2020, 1, 1), import_price=Decimal(0), fixed_per_day=Decimal("2.5")
    )
    day = days_span(date(2026, 10, 25), date(2026, 10, 25), LISBON)  # 25 hours
    part = Span(day.start_ms, day.start_ms + 5 * 3_600_000)
    assert fixed_fee([tariff], part, LISBON) == pytest.approx((0.5, 1.0))


def test_days_without_a_tariff_have_no_fee_and_lower_the_coverage() -> None:
    tariff = one_price("EUR", date(2026, 6, 3), import_price=Decimal(0), fixed_per_day=Decimal(1))
    span = days_span(date(2026, 6, 1), date(2026, 6, 4), LISBON)
    assert fixed_fee([tariff], span, LISBON) == pytest.approx((2.0, 0.5))
    assert fixed_fee([], span, LISBON) == (0.0, 0.0)


def test_no_time_has_no_fee() -> None:
    assert fixed_fee([two_bands()], Span(0, 0), LISBON) == (0.0, 1.0)


def test_a_date_that_a_zone_skipped_has_no_fee() -> None:
    # Apia had no 30 December 2011.
    apia = ZoneInfo("Pacific/Apia")
    tariff = one_price("T", date(2010, 1, 1), import_price=Decimal(0), fixed_per_day=Decimal(1))
    span = days_span(date(2011, 12, 29), date(2011, 12, 31), apia)
    assert fixed_fee([tariff], span, apia) == pytest.approx((2.0, 1.0))


def test_the_version_of_a_day_is_the_last_that_began() -> None:
    versions = [two_bands(date(2026, 1, 1)), two_bands(date(2026, 3, 1))]
    assert version_on(versions, date(2025, 12, 31)) is None
    assert version_on(versions, date(2026, 2, 28)) is versions[0]
    assert version_on(versions, date(2026, 3, 1)) is versions[1]
