from datetime import date
from pathlib import Path

import pytest

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.money.saved import ASSUMED_PASSED, Passed
from joulebook.core.spans import days_span, local_day
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.priced_time import (
    PricedTime,
    idle,
    known_part,
    last_year,
    losses,
    passed_of,
)
from tests.helpers.priced_studio import FIRST, IDLE, LAST, NOW_MS, priced_studio


def test_a_bill_by_hand(priced: tuple[Database, Site]) -> None:
    database, site = priced
    span = days_span(FIRST, LAST, site.zone)
    bill = PricedTime(database, site, span).bill(span)
    assert bill is not None
    # Eight days: 3 kWh at 0.10 bought by night, 1.6 kWh at 0.05 sold by day, 1.00 of the fee.
    assert bill.bought.value == pytest.approx(8 * 0.30, rel=0.003)
    assert bill.sold.value == pytest.approx(8 * 0.08, rel=0.005)
    assert bill.fixed.value == pytest.approx(8.0)
    assert bill.total.value == pytest.approx(8 * 1.22, rel=0.003)


def test_saved_and_lost_by_hand(priced: tuple[Database, Site]) -> None:
    database, site = priced
    span = days_span(FIRST, LAST, site.zone)
    time = PricedTime(database, site, span)
    common = time.common(span)
    saved = time.saved(common, Passed(1.0, 1.0, 1.0))
    # Without both, 24 kWh: 6 at 0.10, 18 at 0.30. Without battery, the panels' 16 kWh feed 8 of
    # them from 8 to 16 o'clock and sell 8: 6 at 0.10 and 10 at 0.30 bought, 8 at 0.05 sold.
    assert saved.both.value == pytest.approx(8 * (6.0 - 0.22), rel=0.003)
    assert saved.panels.value == pytest.approx(8 * (6.0 - 3.2), rel=0.003)
    assert saved.battery.value == pytest.approx(8 * (3.2 - 0.22), rel=0.003)
    # 50 W are lost all day: 6 hours while buying at 0.10, 4 while selling at 0.05, and 14 on a
    # day that bought at 0.10.
    lost_wh, lost = losses(common)
    assert lost_wh.value == pytest.approx(8 * 1200, rel=0.01)
    assert lost.value == pytest.approx(8 * 0.050 * (20 * 0.10 + 4 * 0.05), rel=0.01)
    year = idle(common, IDLE)
    assert year.value == pytest.approx(50 * 8.76 * (20 * 0.10 + 4 * 0.05) / 24, rel=0.01)


def test_a_site_without_a_grid_has_no_bill(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, "grid")
    span = local_day(FIRST, site.zone)
    time = PricedTime(database, site, span)
    assert time.bill(span) is None
    assert time.common(span).together is None


def test_an_idle_draw_that_is_not_given_has_no_cost(priced: tuple[Database, Site]) -> None:
    database, site = priced
    span = days_span(FIRST, LAST, site.zone)
    common = PricedTime(database, site, span).common(span)
    refused = {"idle_w": {"value": None, "reason": "too few nights"}}
    assert idle(common, refused).reason == "too few nights"


def test_what_the_inverter_passes_on_is_measured_or_assumed() -> None:
    measured = {"conversion": {"ratio": 0.93, "low_ratio": 0.92, "high_ratio": 0.94}}
    assert passed_of(measured) == Passed(0.93, 0.92, 0.94)
    assert passed_of({"conversion": {"ratio": None}}) == ASSUMED_PASSED


def test_a_year_is_that_up_to_now(priced: tuple[Database, Site]) -> None:
    database, site = priced
    year = last_year(site, now_ms=NOW_MS)
    assert year.start_ms == local_day(date(2025, 6, 11), site.zone).start_ms
    assert year.end_ms == NOW_MS
    # Readings begin with the first day.
    known = known_part(database, site, year)
    assert known.start_ms == local_day(FIRST, site.zone).start_ms
    assert known.end_ms == NOW_MS // QUARTER_MS * QUARTER_MS


def test_what_is_known_begins_with_the_first_tariff_too(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, tariff_from=date(2026, 6, 5))
    known = known_part(database, site, last_year(site, now_ms=NOW_MS))
    assert known.start_ms == local_day(date(2026, 6, 5), site.zone).start_ms


def test_a_tariff_that_is_yet_to_begin_leaves_no_time(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, tariff_from=date(2027, 1, 1))
    known = known_part(database, site, last_year(site, now_ms=NOW_MS))
    assert known.length_s == 0


def test_an_empty_site_without_tariff_is_known_all_along(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Europe/Lisbon")
    year = last_year(site, now_ms=NOW_MS)
    assert known_part(database, site, year).start_ms == year.start_ms
