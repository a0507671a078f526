from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from joulebook.core.money.tariff import Band, Season, Tariff
from joulebook.core.money.tariff_checks import (
    MOST_BANDS,
    MOST_LISTED,
    MOST_SEASONS,
    TariffError,
    check_tariff,
)
from tests.helpers.priced import DAY, NIGHT, two_bands


def faults_of(tariff: Tariff) -> list[tuple[str, str]]:
    with pytest.raises(TariffError) as caught:
        check_tariff(tariff)
    return [(fault.where, fault.what) for fault in caught.value.faults]


def with_bands(*bands: Band) -> Tariff:
    return replace(two_bands(), seasons=(Season(bands=bands),))


def test_a_whole_tariff_passes() -> None:
    check_tariff(two_bands())


def test_an_hour_without_a_price_is_named() -> None:
    late = replace(DAY, from_minute=420)
    assert faults_of(with_bands(NIGHT, late)) == [
        ("season 1, band", "no band holds at 06:00 on weekdays"),
        ("season 1, band", "no band holds at 06:00 on the weekend"),
    ]


def test_an_hour_with_two_prices_is_named() -> None:
    early = replace(DAY, from_minute=330, days=("weekdays",))
    weekend = replace(DAY, days=("weekend", "listed"))
    assert faults_of(with_bands(NIGHT, early, weekend)) == [
        ("season 1, band 2, from", "bands 1 and 2 both hold at 05:30 on weekdays")
    ]


def test_listed_dates_need_bands_of_their_own() -> None:
    ordinary = [replace(each, days=("weekdays", "weekend")) for each in (NIGHT, DAY)]
    check_tariff(with_bands(*ordinary))
    listed = replace(with_bands(*ordinary), listed_dates=(date(2026, 12, 25),))
    assert faults_of(listed) == [("season 1, band", "no band holds at 00:00 on listed dates")]


def test_every_fault_of_a_band_is_named_at_once() -> None:
    odd = replace(
        NIGHT,
        days=(),
        from_minute=5,
        to_minute=5,
        import_price=Decimal("1e5"),
        export_price=Decimal("0.0000001"),
    )
    assert [where for where, _ in faults_of(with_bands(odd))] == [
        "season 1, band 1, days",
        "season 1, band 1, from",
        "season 1, band 1, to",
        "season 1, band 1, to",
        "season 1, band 1, import",
        "season 1, band 1, export",
    ]


@pytest.mark.parametrize(
    ("first", "last", "fault"),
    [
        ((1, 1), (5, 31), "no season holds on 10-01"),
        ((10, 2), (5, 31), "no season holds on 10-01"),
        ((9, 30), (5, 31), "two seasons hold on 09-30"),
    ],
)
def test_seasons_fill_the_year_and_do_not_overlap(
    first: tuple[int, int], last: tuple[int, int], fault: str
) -> None:
    bands = (NIGHT, DAY)
    summer = Season(first=(6, 1), last=(9, 30), bands=bands)
    winter = Season(first=first, last=last, bands=bands)
    found = faults_of(replace(two_bands(), seasons=(summer, winter)))
    assert [what for _, what in found] == [fault]


def test_a_season_may_be_february_in_leap_years_too() -> None:
    bands = (NIGHT, DAY)
    seasons = (
        Season(first=(3, 1), last=(1, 31), bands=bands),
        Season(first=(2, 1), last=(2, 28), bands=bands),
    )
    check_tariff(replace(two_bands(), seasons=seasons))


def test_a_day_that_no_year_has_is_named() -> None:
    odd = Season(name="x" * 41, first=(2, 30), last=(13, 1), bands=(NIGHT, DAY))
    assert [where for where, _ in faults_of(replace(two_bands(), seasons=(odd,)))] == [
        "season 1, name",
        "season 1, first",
        "season 1, last",
    ]


def test_plain_facts_are_checked() -> None:
    tariff = replace(
        two_bands(date(1999, 12, 31)),
        currency=" ",
        fixed_per_day=Decimal("NaN"),
        fixed_per_month=Decimal("Infinity"),
        listed_dates=tuple(date(2026, 1, 1) + timedelta(days=n) for n in range(MOST_LISTED + 1)),
    )
    assert [where for where, _ in faults_of(tariff)] == [
        *("currency", "from", "fixed_per_day", "fixed_per_month", "listed_dates")
    ]


def test_there_is_something_and_not_too_much_of_it() -> None:
    assert faults_of(replace(two_bands(), seasons=())) == [("season", "there are 0 seasons")]
    many = two_bands().seasons * (MOST_SEASONS + 1)
    assert faults_of(replace(two_bands(), seasons=many)) == [
        ("season", f"there are {MOST_SEASONS + 1} seasons")
    ]
    assert faults_of(with_bands()) == [("season 1, band", "there are 0 bands")]
    assert faults_of(with_bands(*[NIGHT] * (MOST_BANDS + 1))) == [
        ("season 1, band", f"there are {MOST_BANDS + 1} bands")
    ]


def test_the_error_says_where_and_what() -> None:
    with pytest.raises(TariffError, match=r"season 1, band: no band holds at 06:00 on weekdays"):
        check_tariff(with_bands(NIGHT))
