import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import QUANTITIES
from joulebook.ingest.units import conversion, convertible_to, is_registered

RFC = json.loads((Path(__file__).parents[2] / "data" / "senml.json").read_text("utf-8"))


def convert(value: float, unit: str, canonical: str) -> float:
    found = conversion(unit, canonical)
    assert found is not None
    return found.apply(value)


@pytest.mark.parametrize("unit", RFC["rfc8798_secondary"])
def test_secondary_units_have_the_factors_of_rfc_8798(unit: str) -> None:
    # CV-39: the table of RFC 8798 §3. "1/3.6" is written out, for Fraction does not read it.
    primary, scale, offset = RFC["rfc8798_secondary"][unit]
    found = conversion(unit, primary)
    assert found is not None
    factor = Fraction(5, 18) if scale == "1/3.6" else Fraction(scale)
    assert Fraction(found.numerator, found.denominator) == factor
    assert found.offset == Decimal(offset)


@pytest.mark.parametrize(
    ("value", "unit", "canonical", "expected"),
    [
        (100, "ms", "s", 0.1),  # printed in RFC 8798 §3
        (10, "dBm", "dBW", -20.0),  # printed in RFC 8798 §3
        (1, "kWh", "J", 3_600_000.0),
        (12.5, "Ah", "C", 45_000.0),
        (16.08, "kWh", "J", 57_888_000.0),
        (61, "/100", "/", 0.61),
        (53_100, "mV", "V", 53.1),
        (36, "km/h", "m/s", 10.0),
        (3, "kW", "W", 3000.0),
        (61, "%EL", "/", 0.61),  # RFC 8428 §12.1 Table 6
        (0.61, "%", "/", 0.61),  # a ratio: RFC 8428 §12.1 Note 2
        (298.15, "K", "Cel", 25.0),  # 273.15 K is the ice point (SI)
        (293.37, "K", "Cel", 20.22),
        (1.001, "kWh", "Wh", 1001.0),  # in binary 1000.9999999999999
        (3_600_000, "J", "Wh", 1000.0),
        (61.3, "/100", "/", 0.613),
        (-1.136, "kW", "W", -1136.0),
    ],
)
def test_conversion_gives_the_decimal_result(
    value: float, unit: str, canonical: str, expected: float
) -> None:
    assert convert(float(value), unit, canonical) == expected


@pytest.mark.parametrize(("raw", "expected"), [(1201, 120.1), (613, 61.3), (998, 99.8)])
def test_tenths_are_divided_not_multiplied(raw: int, expected: float) -> None:
    # CV-14: 613 * 0.1 is 61.300000000000004. A hundredth of a kilowatt-hour is ten watt-hours.
    assert convert(raw * 100.0, "mV", "V") == expected


@given(st.integers(-(10**12), 10**12), st.integers(0, 6))
@settings(derandomize=True, deadline=None)
def test_any_decimal_converts_to_the_nearest_float_of_its_exact_result(
    digits: int, places: int
) -> None:
    sent = Decimal(digits).scaleb(-places)
    assert convert(float(sent), "kWh", "Wh") == float(sent * 1000)
    assert convert(float(sent), "mV", "V") == float(sent / 1000)
    assert convert(float(sent), "K", "Cel") == float(sent - Decimal("273.15"))


def test_unlike_things_do_not_convert() -> None:
    assert conversion("V", "A") is None
    assert conversion("Ah", "Wh") is None
    assert conversion("%RH", "/") is None
    assert conversion("", "V") is None


def test_registered_units_are_those_of_the_rfcs() -> None:
    # RFC 8428 §12.1 Table 6 and RFC 8798 §2: a few of each.
    named = ["W/m2", "%RH", "beat/min", "lat", "VAs", "J/m", "kWh", "mA", "ug/m3"]
    assert all(map(is_registered, named))
    assert not any(map(is_registered, ["", "watt", "kwh", "°C", "Ws"]))


@pytest.mark.parametrize(("unit", "same"), [("V", True), ("mV", False)])
def test_a_changeless_conversion_says_so(unit: str, same: bool) -> None:
    found = conversion(unit, "V")
    assert found is not None
    assert found.changes_nothing is same


def test_a_conversion_that_only_shifts_is_no_changeless_one() -> None:
    found = conversion("K", "Cel")
    assert found is not None
    assert not found.changes_nothing


def test_a_sender_is_told_the_canonical_unit_first() -> None:
    assert convertible_to("Wh") == ["Wh", "J", "kWh"]
    assert convertible_to("/")[0] == "/"
    assert {"%", "%EL", "/100"} < set(convertible_to("/"))


def test_every_unit_of_the_vocabulary_is_registered() -> None:
    assert all(is_registered(one.unit) for kind in QUANTITIES.values() for one in kind.values())
