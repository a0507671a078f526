"""What `joulebook show` says of a record, for people: from documents as the reports make them."""

from typing import Any

import pytest

from joulebook.cli.show import lines_of


def wear(**more: Any) -> dict[str, Any]:
    return {
        "efc": {"total": 812.34},
        "capacity": [{"date": "2026-02-01", "ah": 191.26, "low_ah": 188.9, "high_ah": 193.6}],
        "fade": {"sentence": "It loses 1.3 % a year, ±0.1."},
        "warranty": {
            "probability_met": 0.874,
            "floor_ratio": 0.7,
            "ends": "2035-06-01",
            "verdict": "likely to hold",
        },
        **more,
    }


def test_a_measured_record_is_four_lines() -> None:
    assert lines_of("wear", wear()) == [
        "812.3 equivalent full cycles",
        "capacity 191.3 Ah (188.9 to 193.6), 2026-02-01",
        "It loses 1.3 % a year, ±0.1.",
        "87% that it holds 70% until 2035-06-01: likely to hold",
    ]


@pytest.mark.parametrize(
    ("met", "told"), [(1.0, "more than 99%"), (0.0, "less than 1%"), (0.99, "99%"), (0.01, "1%")]
)
def test_a_forecast_is_never_certain(met: float, told: str) -> None:
    warranty = wear()["warranty"] | {"probability_met": met}
    assert lines_of("wear", wear(warranty=warranty))[-1].startswith(f"{told} that it holds")


def test_what_is_refused_says_why() -> None:
    refused = wear(
        efc={"total": None, "reason": "no current"},
        capacity=[{"date": "2026-02-01", "ah": None, "reason": "never low"}],
        fade={"reason": "too short"},
        warranty={"probability_met": None, "reason": "too early"},
    )
    assert lines_of("wear", refused) == [
        "equivalent full cycles not given: no current",
        "capacity not given: never low",
        "fade not given: too short",
        "warranty odds not given: too early",
    ]


def test_trouble_says_what_to_look_at_and_what_could_hurt() -> None:
    check = {
        "name": "lugs",
        "device": "battery",
        "verdict": "trouble",
        "sentence": "12 mΩ lie between battery and inverter",
        "look_at": "the lugs",
        "caution": "live",
    }
    good = check | {"name": "noon", "device": None, "verdict": "good"}
    silent = check | {"look_at": None, "caution": None}
    assert lines_of("checks", {"checks": [check, good, silent]}) == [
        "trouble  battery lugs: 12 mΩ lie between battery and inverter",
        "         look at: the lugs",
        "         caution: live",
        "good     noon: 12 mΩ lie between battery and inverter",
        "trouble  battery lugs: 12 mΩ lie between battery and inverter",
    ]


def carried(**changed: Any) -> dict[str, Any]:
    hours = {"value": 10.0, "low": 8.0, "high": 12.5}
    return {
        "as_of": "2026-06-10T00:00+00:00",
        "hours": [
            {"load": "now", "until": "empty", **hours},
            {"load": "night", "until": "a tenth", "value": None, "reason": "3 dark nights"},
        ],
        "starts": {
            "list": [
                {
                    "step_w": {"value": 1500.0},
                    "peak_w": {"value": 1900.0},
                    "count": 9,
                    "at": "2026-06-09T06:59+00:00",
                }
            ],
            "limits": "read every 60 s",
        },
        "outages": {"list": [], "count": 1, "from": "2026-06-01", "to": "2026-06-10"},
        **changed,
    }


def test_what_a_site_carries_in_lines() -> None:
    assert lines_of("loads", carried()) == [
        "as of 2026-06-10T00:00+00:00, without sun and grid:",
        "until empty, at the present load: 10.0 h (8.0 to 12.5)",
        "until a tenth is left, at the load of a usual night: not given: 3 dark nights",
        "start of 1500 W, seen 9 times, up to 1900 W at least, the largest 2026-06-09T06:59+00:00",
        "read every 60 s",
        "outages: 1, from 2026-06-01 to 2026-06-10",
    ]


def test_what_is_not_known_of_loads_is_said() -> None:
    assert lines_of("loads", carried(starts={"list": [], "limits": "read every 60 s"}))[3] == (
        "no start of 200 W or more"
    )
    refused = carried(
        hours=[],
        hours_reason="no meter reads the load",
        starts={"reason": "no meter reads the load"},
        outages={"reason": "no voltage"},
    )
    assert lines_of("loads", refused) == [
        "hours left not given: no meter reads the load",
        "starts not given: no meter reads the load",
        "outages not given: no voltage",
    ]
