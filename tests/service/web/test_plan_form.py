from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.money.saved import Passed
from joulebook.summaries.plan_ground import Asked, Battery, PlanGround
from joulebook.web.access.forms import Form
from joulebook.web.plan_form import HOURS, MONTHS, asked_of, standing

BATTERY = Battery(
    capacity_wh=10_240.5,
    charge_w=2387.15,
    discharge_w=5000.0,
    round_trip=(0.97498, 0.97, 0.98),
    words=(),
)
NOTHING = np.empty(0, np.int64)
GROUND = PlanGround(
    time=None,
    minute=NOTHING,
    month=NOTHING,
    month_index=NOTHING,
    passed=Passed(1.0, 1.0, 1.0),
    battery=BATTERY,
    has_panels=True,
    currency=None,
    window={},
)
AS_IT_IS = Asked(
    capacity_wh=10_240.5, charge_w=2387.15, discharge_w=5000.0, round_trip=(0.97498, 0.97, 0.98)
)


def test_what_is_left_as_shown_is_exactly_what_is_there() -> None:
    # The page shows 10.2 kWh; sent back untouched, that is still 10,240.5 Wh.
    form = Form(standing(GROUND))
    assert asked_of(form, GROUND) == AS_IT_IS
    assert asked_of(Form(), GROUND) == AS_IT_IS
    assert form.errors == {}


def test_what_is_asked_for() -> None:
    form = Form(
        {
            "load_kw": "1,5",
            "load_kwh": "12",
            "from": "1320",
            "to": "360",
            "first": "10",
            "last": "4",
            "panels": "150",
            "battery_kwh": "20",
            "charge_kw": "3",
            "discharge_kw": "4",
            "round_trip": "90",
            "reserve": "20",
        }
    )
    assert asked_of(form, GROUND) == Asked(
        more_w=1500.0,
        more_wh_a_day=12_000.0,
        from_minute=1320,
        to_minute=360,
        first_month=10,
        last_month=4,
        pv_scale=1.5,
        capacity_wh=20_000.0,
        charge_w=3000.0,
        discharge_w=4000.0,
        round_trip=(0.9, 0.9, 0.9),
        reserve_ratio=0.2,
    )
    assert form.errors == {}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("load_kw", "101"),
        ("load_kwh", "-1"),
        ("from", "1440"),
        ("to", "0"),
        ("first", "13"),
        ("panels", "many"),
        ("battery_kwh", "1e9"),
        ("round_trip", "40"),
        ("reserve", "95"),
    ],
)
def test_what_makes_no_sense_is_named(field: str, value: str) -> None:
    form = Form({field: value})
    asked_of(form, GROUND)
    assert list(form.errors) == [field]


def test_a_site_without_a_battery_begins_with_none() -> None:
    bare = replace(GROUND, battery=None)
    assert standing(bare)["battery_kwh"] == "0"
    assert asked_of(Form(standing(bare)), bare) == Asked()


def test_hours_and_months_to_choose_from() -> None:
    assert (HOURS[0], HOURS[-1]) == ((0, "00:00"), (1440, "24:00"))
    assert (MONTHS[0], MONTHS[-1]) == ((1, "January"), (12, "December"))
