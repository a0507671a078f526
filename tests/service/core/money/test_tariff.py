from datetime import date
from decimal import Decimal

from joulebook.core.money.tariff import Band, Season, Tariff, clock_text, one_price

PRICE = Decimal("0.31")
BAND = Band(import_price=PRICE)


def test_a_band_over_midnight_is_both_ends_of_a_day() -> None:
    night = Band(from_minute=1200, to_minute=360, import_price=PRICE)
    assert night.minutes() == [range(360), range(1200, 1440)]


def test_a_band_up_to_midnight_from_the_evening_has_one_part() -> None:
    assert Band(from_minute=1200, to_minute=0, import_price=PRICE).minutes() == [range(1200, 1440)]
    assert BAND.minutes() == [range(1440)]


def test_a_season_over_new_year_holds_on_both_sides() -> None:
    winter = Season(first=(10, 1), last=(5, 31), bands=(BAND,))
    assert [winter.holds(*each) for each in ((9, 30), (10, 1), (12, 31), (1, 1), (5, 31))] == [
        *(False, True, True, True, True)
    ]
    assert not winter.holds(6, 1)


def test_a_season_that_ends_with_february_has_its_leap_day() -> None:
    assert Season(first=(1, 1), last=(2, 28), bands=(BAND,)).holds(2, 29)
    assert not Season(first=(1, 1), last=(2, 27), bands=(BAND,)).holds(2, 29)


def test_a_listed_date_is_only_that() -> None:
    tariff = Tariff(
        currency="EUR",
        from_day=date(2026, 1, 1),
        listed_dates=(date(2026, 12, 25), date(2026, 12, 26)),
        seasons=(Season(bands=(BAND,)),),
    )
    # Friday and Saturday; then a Sunday and a Monday.
    days = (date(2026, 12, 25), date(2026, 12, 26), date(2026, 12, 27), date(2026, 12, 28))
    assert [tariff.kind_of(day) for day in days] == ["listed", "listed", "weekend", "weekdays"]


def test_the_simplest_tariff_has_one_band() -> None:
    tariff = one_price("$", date(2026, 1, 1), import_price=PRICE, fixed_per_day=Decimal("0.4"))
    assert tariff.season_of(date(2026, 7, 14)).bands == (BAND,)
    assert (tariff.fixed_per_day, tariff.fixed_per_month) == (Decimal("0.4"), Decimal(0))


def test_the_end_of_the_day_is_24_00() -> None:
    assert (clock_text(0), clock_text(450), clock_text(1440)) == ("00:00", "07:30", "24:00")
