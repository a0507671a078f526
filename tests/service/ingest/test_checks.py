import math

import pytest

from joulebook.ingest.checks import EARLIEST_MS, Expected, expected_of, time_objection

NOW_MS = 1_780_000_000_000


def reason(device: str, quantity: str, value: float) -> str | None:
    expected = expected_of(device, quantity)
    assert expected is not None
    objection = expected.objection(value)
    return None if objection is None else objection.reason


@pytest.mark.parametrize(
    ("device", "quantity", "value", "expected"),
    [
        ("pv", "power", -5000.0, None),  # a reversed clamp: stored, so that it can be corrected
        ("load", "power_l1", -5000.0, None),
        ("battery", "power", -5000.0, None),  # discharging
        ("grid", "power", -5000.0, None),  # exporting
        ("battery", "soc", -0.01, None),
        ("battery", "soc", -0.02, "negative"),
        ("battery", "soc", 1.05, None),
        ("battery", "soc", 1.06, "ratio-too-large"),
        ("battery", "soc", 61.0, "ratio-too-large"),
        ("load", "energy", 0.0, None),
        ("load", "energy", -0.1, "negative"),
        ("battery", "voltage", math.inf, "value-not-finite"),
        ("battery", "voltage", -math.inf, "value-not-finite"),
        ("battery", "soc", math.nan, "value-not-finite"),
    ],
)
def test_values_are_held_to_what_the_quantity_can_be(
    device: str, quantity: str, value: float, expected: str | None
) -> None:
    assert reason(device, quantity, value) == expected


def test_the_hint_for_a_percentage_names_the_units_that_would_do() -> None:
    expected = expected_of("battery", "soc")
    assert expected is not None
    objection = expected.objection(61.0)
    assert objection is not None
    assert "%EL or /100" in objection.detail


def test_a_quantity_that_nobody_knows_has_no_expectation() -> None:
    assert expected_of("battery", "smell") is None
    assert expected_of("kiln", "power") is None


def test_bounds_are_known_from_no_bounds() -> None:
    assert Expected("/", "number", 0.0, 1.0).is_bounded
    assert Expected("W", "number", low=0.0).is_bounded
    assert not Expected("V", "number").is_bounded


@pytest.mark.parametrize(
    ("at_ms", "expected"),
    [
        (EARLIEST_MS, None),
        (EARLIEST_MS - 1, "time-too-old"),
        (NOW_MS + 600_000, None),
        (NOW_MS + 600_001, "time-ahead"),
        (-(10**20), "time-too-old"),
        (10**20, "time-ahead"),
    ],
)
def test_times_are_held_to_2015_until_ten_minutes_ahead(at_ms: int, expected: str | None) -> None:
    objection = time_objection(at_ms, NOW_MS)
    assert (objection.reason if objection else None) == expected
