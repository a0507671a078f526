from typing import Any

import pytest

from tests.helpers.pages import FIRST_MS, HOUR_MS, NOW_MS, Studio


def readings(studio: Studio, **parameters: str) -> dict[str, Any]:
    answer = studio.client.get("/api/v1/sites/studio/readings", params=parameters)
    assert answer.status_code == 200, answer.text
    document: dict[str, Any] = answer.json()
    return document


def problem(studio: Studio, **parameters: str) -> dict[str, Any]:
    answer = studio.client.get("/api/v1/sites/studio/readings", params=parameters)
    document: dict[str, Any] = answer.json()
    assert answer.status_code == document["status"]
    return document


def test_few_readings_come_as_they_are(studio: Studio) -> None:
    document = readings(
        studio,
        device="battery",
        quantity="power",
        **{"from": "2026-03-04T11:00:00Z", "to": "2026-03-04T12:00:00Z"},
    )
    assert document["resolution"] == "raw"
    assert document["coverage_ratio"] == pytest.approx(55 / 60)  # nothing came at noon yet
    assert document["unit"] == "W"
    assert document["readings"] == 12
    assert document["time_ms"] == list(range(NOW_MS - HOUR_MS, NOW_MS, 300_000))
    assert document["value"] == [400.0] * 12


def test_many_readings_come_thinned_to_the_width(studio: Studio) -> None:
    document = readings(
        studio,
        device="battery",
        quantity="power",
        width="10",
        **{"from": "2026-02-23T11:00:00Z", "to": "2026-02-23T13:00:00Z"},
    )
    assert document["resolution"] == "thinned"
    assert document["readings"] == 24
    assert document["bucket_ms"] == HOUR_MS / 5
    assert document["time_ms"][:2] == [FIRST_MS + 11 * HOUR_MS, FIRST_MS + 11.2 * HOUR_MS]
    assert document["mean"] == [400.0] * 5 + [-400.0] * 5
    assert document["min"] == document["max"] == document["mean"]
    assert document["count"] == [3, 2, 3, 2, 2] * 2
    assert "coverage" not in document


def test_days_come_as_quarter_hours_or_several(studio: Studio) -> None:
    document = readings(
        studio,
        device="battery",
        quantity="power",
        width="24",
        **{"from": "2026-02-23", "to": "2026-02-23"},
    )
    assert document["resolution"] == "quarter-hours"
    assert document["readings"] == 288
    assert document["bucket_ms"] == HOUR_MS
    assert document["time_ms"] == list(range(FIRST_MS, FIRST_MS + 24 * HOUR_MS, HOUR_MS))
    # By hand: five minutes before noon and before midnight the power turns from one sign to the
    # other, and their mean is 0.
    turns = 400 * 55 / 60
    expected = [*[400.0] * 11, turns, *[-400.0] * 11, -turns]
    assert document["mean"] == pytest.approx(expected, abs=0.006)
    assert document["min"] == document["max"] == [400.0] * 12 + [-400.0] * 12
    assert document["count"] == [12] * 24
    assert document["coverage"] == [1.0] * 24
    assert document["coverage_ratio"] == 1.0


def test_a_year_of_few_readings_comes_as_it_is(studio: Studio) -> None:
    document = readings(
        studio,
        device="battery",
        quantity="power",
        width="2000",
        **{"from": "2025-03-05", "to": "2026-03-04"},
    )
    assert document["resolution"] == "raw"
    assert document["readings"] == len(document["value"]) == 9.5 * 288 - 288 - 72


def test_a_quarter_hour_before_and_after_the_span_may_be_shown(studio: Studio) -> None:
    document = readings(
        studio,
        device="battery",
        quantity="power",
        width="10",
        **{"from": "2026-02-24T00:01:00Z", "to": "2026-02-24T23:59:00Z"},
    )
    # 1438 minutes in 10 buckets are 10 quarter hours each; they begin with the quarter.
    assert document["bucket_ms"] == 10 * HOUR_MS / 4
    assert document["time_ms"][0] == FIRST_MS + 24 * HOUR_MS
    assert sum(document["count"]) == document["readings"] == 288
    assert document["coverage_ratio"] == 1.0


def test_what_was_not_measured_is_null_and_not_zero(studio: Studio) -> None:
    document = readings(
        studio,
        device="pv",
        quantity="power",
        width="24",
        **{"from": "2026-03-03", "to": "2026-03-03"},
    )
    assert document["mean"][5:13] == [1500.0, *[None] * 6, 1500.0]
    assert document["count"][6] == 0


def test_the_last_day_is_given_unless_asked_otherwise(studio: Studio) -> None:
    document = readings(studio, device="inverter", quantity="fan")
    assert (document["from_ms"], document["to_ms"]) == (NOW_MS - 24 * HOUR_MS, NOW_MS)
    assert document["value"][0] == 1.0  # a flag, yesterday after noon


@pytest.mark.parametrize(
    ("device", "quantity", "status", "expected"),
    [
        ("kiln", "power", 404, "one of battery, grid, inverter, load, pv"),
        ("pv", "voltage", 404, "one of power"),
        ("inverter", "mode", 422, "a quantity of numbers or flags"),
    ],
)
def test_a_series_that_has_no_curve(
    studio: Studio, device: str, quantity: str, status: int, expected: str
) -> None:
    document = problem(studio, device=device, quantity=quantity)
    assert (document["status"], document["expected"]) == (status, expected)


def test_a_site_without_devices_says_so(empty: Studio) -> None:
    assert problem(empty, device="pv", quantity="power")["expected"] == "one of none yet"


def test_the_series_must_be_named(studio: Studio) -> None:
    assert problem(studio, device="pv")["where"] == "query parameter 'quantity'"


def test_a_span_or_width_that_cannot_be(studio: Studio) -> None:
    series = {"device": "pv", "quantity": "power"}
    assert problem(studio, **series, width="wide")["title"] == "Not a width"
    assert problem(studio, **series, **{"from": "then"})["title"] == "Not a point in time"
    assert (
        problem(studio, **series, **{"from": "2015-01-01", "to": "2026-01-01"})["title"]
        == "Too much at once"
    )
