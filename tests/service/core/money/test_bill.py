import math
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.money.bill import METER_HALF, Bill, bill_of
from joulebook.core.money.prices import fixed_fee, prices_of
from joulebook.core.money.tariff import Tariff, one_price
from tests.helpers.priced import grid_energy, quarters_of, two_bands

LISBON = ZoneInfo("Europe/Lisbon")


def bill(first: date, last: date, energy: Any, *tariffs: Tariff, zone: ZoneInfo = LISBON) -> Bill:
    """Return the bill of whole days whose energies a function of their number gives."""
    span, start_ms = quarters_of(first, last, zone)
    return bill_of(
        energy(start_ms.size),
        prices_of(tariffs, start_ms, zone),
        fixed=fixed_fee(tariffs, span, zone),
        quarters=start_ms.size,
    )


def kilowatt(size: int) -> Any:
    """One kilowatt bought all the time: 250 Wh a quarter hour."""
    return grid_energy(np.full(size, 250.0))


@pytest.mark.parametrize(
    ("day", "amount"),
    [
        # 1 kW all day: 6 · 0.10 + 18 · 0.30; the night has an hour less, or one more.
        (date(2026, 3, 28), 6.00),
        (date(2026, 3, 29), 5.90),
        (date(2026, 10, 25), 6.10),
    ],
)
def test_a_day_by_hand(day: date, amount: float) -> None:
    found = bill(day, day, kilowatt, two_bands())
    assert found.bought.value == pytest.approx(amount)
    assert found.total.value == pytest.approx(amount)
    assert [band.priced.band.from_minute for band in found.bands] == [0, 360]
    assert [band.bought for band in found.bands] == pytest.approx([amount - 5.4, 5.4])


def test_half_an_hour_that_comes_twice_by_hand() -> None:
    # Lord Howe Island on 5 April 2026: 6.5 · 0.10 + 18 · 0.30.
    zone = ZoneInfo("Australia/Lord_Howe")
    found = bill(date(2026, 4, 5), date(2026, 4, 5), kilowatt, two_bands(), zone=zone)
    assert found.bought.value == pytest.approx(6.05)


def test_bought_sold_and_fee_by_hand() -> None:
    # 1 kW bought and 2 kW sold all day, 31 a month: 6.00 - 2 · (6 · 0.02 + 18 · 0.05) + 1.
    def energy(size: int) -> Any:
        return grid_energy(np.full(size, 250.0), np.full(size, 500.0))

    day = date(2026, 7, 14)
    found = bill(day, day, energy, two_bands(fixed_per_month="31"))
    assert found.sold.value == pytest.approx(2.04)
    assert found.fixed.value == pytest.approx(1.0)
    assert (found.fixed.low, found.fixed.high) == (found.fixed.value, found.fixed.value)
    assert found.total.value == pytest.approx(6.00 - 2.04 + 1.0)
    # The meter's limit of ±1 %, uniform, at 90 %: 1.6449 · 0.01 / √3 of all that it counted.
    half = 1.6449 * 0.01 / math.sqrt(3) * (6.00 + 2.04)
    assert (found.total.low, found.total.high) == pytest.approx((4.96 - half, 4.96 + half))
    assert found.bought_wh.value == pytest.approx(24_000)
    assert found.sold_wh.high == pytest.approx(48_000 * (1 + METER_HALF))


def test_a_month_over_a_change_of_prices_by_hand() -> None:
    # June with 1 kW: ten days at 0.20, twenty at 0.25, and a fee of 0.50 a day from the 11th.
    tariffs = [
        one_price("EUR", date(2026, 1, 1), import_price=Decimal("0.20")),
        one_price(
            "EUR",
            date(2026, 6, 11),
            import_price=Decimal("0.25"),
            fixed_per_day=Decimal("0.50"),
        ),
    ]
    found = bill(date(2026, 6, 1), date(2026, 6, 30), kilowatt, *tariffs)
    assert found.bought.value == pytest.approx(240 * 0.20 + 480 * 0.25)
    assert found.fixed.value == pytest.approx(10.0)
    assert found.total.coverage_ratio == 1.0


def test_a_leap_february_by_hand() -> None:
    found = bill(date(2024, 2, 1), date(2024, 2, 29), kilowatt, two_bands(fixed_per_month="29"))
    assert found.total.value == pytest.approx(29 * 6.00 + 29)


def test_what_may_have_run_both_ways_widens_the_interval() -> None:
    day = date(2026, 7, 14)
    sure = bill(day, day, kilowatt, two_bands())
    unsure = bill(
        day, day, lambda size: grid_energy(np.full(size, 250.0), unsure=10.0), two_bands()
    )
    # 96 · 10 Wh either way: at the price of buying, of selling, and of what lies between them.
    more = 0.24 * 0.10 + 0.72 * 0.30, 0.24 * 0.02 + 0.72 * 0.05
    assert unsure.bought.high == pytest.approx((sure.bought.high or 0) + more[0])
    assert unsure.sold.high == pytest.approx(more[1])
    assert unsure.total.high == pytest.approx((sure.total.high or 0) + more[0] - more[1])
    assert unsure.bought_wh.high == pytest.approx((sure.bought_wh.high or 0) + 960)


def test_what_was_not_measured_is_in_no_number() -> None:
    # Half a day was silent: the bill would look like half of one, so there is none.
    def silent(size: int) -> Any:
        measured = np.arange(size) < size // 2
        return grid_energy(np.where(measured, 250.0, 0.0), measured=measured.astype(np.float64))

    day = date(2026, 7, 14)
    found = bill(day, day, silent, two_bands())
    assert found.bought.value == pytest.approx(6 * 0.10 + 6 * 0.30)
    assert found.bought.coverage_ratio == pytest.approx(0.5)
    assert found.total.value is None
    assert found.total.reason == (
        "only 50% of the time was measured and has a tariff; 90% are needed for a bill"
    )


def test_a_bill_of_nearly_all_is_given_with_its_coverage() -> None:
    day = date(2026, 7, 14)
    found = bill(
        day, day, lambda size: grid_energy(np.full(size, 250.0), measured=np.full(size, 0.9)),
        two_bands(),
    )  # fmt: skip
    assert found.total.value == pytest.approx(6.0)
    assert found.total.coverage_ratio == pytest.approx(0.9)


def test_time_without_a_tariff_counts_as_not_covered() -> None:
    found = bill(date(2026, 6, 1), date(2026, 6, 2), kilowatt, two_bands(date(2026, 6, 2)))
    assert found.bought.value == pytest.approx(6.0)
    assert found.bought.coverage_ratio == pytest.approx(0.5)
    assert found.bought_wh.coverage_ratio == pytest.approx(1.0)
    assert found.total.value is None


@pytest.mark.parametrize(
    ("energy", "tariffs", "reason"),
    [
        (kilowatt, [], "no tariff holds in this time"),
        (
            lambda size: grid_energy(np.zeros(size), measured=np.zeros(size)),
            [two_bands()],
            "nothing was measured in this time",
        ),
        (
            kilowatt,
            [two_bands(), replace(two_bands(date(2026, 7, 14)), currency="$")],
            "the currency changed in this time: $, EUR",
        ),
    ],
)
def test_no_amount_without_what_it_needs(energy: Any, tariffs: list[Tariff], reason: str) -> None:
    found = bill(date(2026, 7, 13), date(2026, 7, 14), energy, *tariffs)
    assert {found.bought.reason, found.sold.reason, found.total.reason} == {reason}
    assert found.bands == ()


def test_without_a_tariff_the_fee_is_not_zero() -> None:
    found = bill(date(2026, 7, 14), date(2026, 7, 14), kilowatt)
    assert found.fixed.value is None


def test_no_time_is_nothing_measured() -> None:
    empty = grid_energy([])
    prices = prices_of([two_bands()], np.empty(0, np.int64), LISBON)
    found = bill_of(empty, prices, fixed=(0.0, 1.0), quarters=0)
    assert found.bought_wh.value is None
    assert found.total.reason == "nothing was measured in this time"


@settings(derandomize=True, deadline=None, max_examples=50)
@given(
    st.dates(date(2024, 1, 1), date(2026, 12, 1)),
    st.integers(0, 5),
    st.lists(st.floats(0, 5000), min_size=4, max_size=4),
    st.sampled_from(["Europe/Lisbon", "America/Chicago", "Australia/Lord_Howe"]),
)
def test_bands_add_up_to_the_total(
    first: date, days: int, watts: list[float], zone_name: str
) -> None:
    # The whole must be what pricing each quarter hour by itself gives.
    zone = ZoneInfo(zone_name)
    _, start_ms = quarters_of(first, date.fromordinal(first.toordinal() + days), zone)
    bought = np.resize(np.array(watts) / 4, start_ms.size)
    energy = grid_energy(bought, bought[::-1])
    prices = prices_of([two_bands()], start_ms, zone)
    found = bill_of(energy, prices, fixed=(0.0, 1.0), quarters=start_ms.size)
    singly = sum(
        wh * price / 1000 for wh, price in zip(bought, prices.import_price, strict=True)
    ) - sum(wh * price / 1000 for wh, price in zip(bought[::-1], prices.export_price, strict=True))
    assert found.total.value == pytest.approx(singly, abs=1e-9)
    assert sum(band.bought - band.sold for band in found.bands) == pytest.approx(singly, abs=1e-9)
    assert sum(band.import_wh for band in found.bands) == pytest.approx(float(bought.sum()))
