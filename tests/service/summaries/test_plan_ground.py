from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.core.money.saved import Passed
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.plan_ground import (
    Asked,
    PlanGround,
    more_load_wh,
    plan_ground,
    planned,
)
from tests.helpers.priced_studio import LAST, NOW_MS, priced_studio

TRIP = {"ratio": 0.95, "low_ratio": 0.94, "high_ratio": 0.96}
EFFICIENCY: dict[str, Any] = {
    "conversion": {"ratio": 1.0, "low_ratio": 1.0, "high_ratio": 1.0},
    "round_trip": TRIP,
}
WEAR: dict[str, Any] = {"capacity_latest": {"ah": 190.0}}


def ground(
    house: tuple[Database, Site],
    *,
    wear: dict[str, Any] = WEAR,
    efficiency: dict[str, Any] = EFFICIENCY,
    now_ms: int = NOW_MS,
) -> PlanGround:
    return plan_ground(*house, efficiency=efficiency, wear=wear, now_ms=now_ms)


def test_what_planning_rests_on(priced: tuple[Database, Site]) -> None:
    found = ground(priced)
    assert found.time is not None
    assert found.time.hours == pytest.approx(192.0, abs=0.5)
    assert found.window == {"from": "2026-06-03", "to": "2026-06-11"}
    assert (found.passed, found.currency, found.has_panels) == (Passed(1, 1, 1), "EUR", True)
    battery = found.battery
    assert battery is not None
    assert battery.capacity_wh == pytest.approx(190 * 16 * 3.2)
    # It took 2000 - 1000 - 50 W of sun, and gave 1050 W.
    assert (battery.charge_w, battery.discharge_w) == pytest.approx((950.0, 1050.0))
    assert battery.round_trip == (0.95, 0.94, 0.96)
    assert "measured last" in battery.words[0]
    # The last quarter hour begins at 11:45 by the clock of Lisbon, in June.
    assert (found.minute[-1], found.month[-1], found.month_index[-1]) == (705, 6, 2026 * 12 + 5)


def test_a_round_trip_that_reads_better_than_it_can_be_is_taken_as_one(
    priced: tuple[Database, Site],
) -> None:
    trip = {"ratio": 1.004, "low_ratio": 0.99, "high_ratio": 1.02}
    battery = ground(priced, efficiency=EFFICIENCY | {"round_trip": trip}).battery
    assert battery is not None
    assert battery.round_trip == (1.0, 0.99, 1.0)


def test_what_was_not_measured_is_rated_or_assumed(priced: tuple[Database, Site]) -> None:
    efficiency = EFFICIENCY | {"round_trip": {"ratio": None}}
    database, site = priced
    rated = (database, replace(site, inverter_w=5000.0))
    found = ground(rated, wear={}, efficiency=efficiency).battery
    assert found is not None
    assert found.capacity_wh == pytest.approx(200 * 16 * 3.2)
    assert found.round_trip == (0.95, 0.90, 0.98)
    assert (found.charge_w, found.discharge_w) == (5000.0, 5000.0)
    assert [word.split(",")[0].split(":")[0] for word in found.words] == [
        "its capacity is the one it is rated for",
        "its round trip is assumed",
        "its limits of power are the inverter's rating",
    ]


def test_a_site_without_a_battery(tmp_path: Path) -> None:
    found = ground(priced_studio(tmp_path, "battery", tariff_from=None))
    assert found.battery is None
    assert found.currency is None


def test_a_battery_that_was_never_heard_is_not_known(priced: tuple[Database, Site]) -> None:
    database, site = priced
    found = ground(priced, now_ms=NOW_MS + 400 * 86_400_000)
    assert found.battery is None
    assert found.window["from"] == "2026-07-16"
    unrated = (database, replace(site, battery_ah=None))
    assert ground(unrated).battery is None


def test_without_a_grid_meter_nothing_can_be_planned(tmp_path: Path) -> None:
    found = ground(priced_studio(tmp_path, "grid"))
    assert found.time is None
    assert planned(found, Asked()) is None


def test_more_load_by_hand(priced: tuple[Database, Site]) -> None:
    found = ground(priced)
    # 2 kW from 22 to 6 o'clock, and 12 kWh a day spread over these eight hours.
    night = Asked(more_w=2000.0, more_wh_a_day=12_000.0, from_minute=1320, to_minute=360)
    more = more_load_wh(found, night)
    used = (found.minute >= 1320) | (found.minute < 360)
    assert np.unique(more[used]).tolist() == pytest.approx([500 + 12_000 / 32])
    assert not more[~used].any()


def test_more_load_in_the_months_named(priced: tuple[Database, Site]) -> None:
    found = ground(priced)
    winter = more_load_wh(found, Asked(more_w=400.0, first_month=11, last_month=2))
    assert sorted(set(found.month[winter > 0].tolist())) == [1, 2, 11, 12]
    assert np.unique(winter).tolist() == [0.0, 100.0]
    whole_day = more_load_wh(found, Asked(more_wh_a_day=960.0))
    assert np.unique(whole_day).tolist() == [10.0]


def test_plans_of_a_month(tmp_path: Path) -> None:
    found = ground(priced_studio(tmp_path, first=date(2026, 5, 13), last=LAST))
    as_is = Asked(capacity_wh=190 * 51.2, charge_w=950.0, discharge_w=1050.0, reserve_ratio=0.1)
    plan = planned(found, as_is)
    assert plan is not None
    # The studio's rule is another one: it buys by night although the battery holds enough.
    assert plan.change.import_wh.reason is not None
    assert "misses what was measured" in plan.change.import_wh.reason
    alone = planned(replace(found, battery=None), Asked())
    assert alone is not None
    assert alone.off_ratio > plan.off_ratio
