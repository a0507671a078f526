import json

import pytest

from joulebook_bridge.errors import WrongError
from joulebook_bridge.pack import Reading, make_pack, parse_reading


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("voltage=53.1V", Reading("voltage", 53.1, "V")),
        ("current=-12.4A", Reading("current", -12.4, "A")),
        ("current=+.5", Reading("current", 0.5, "A")),
        ("power=1.2kW", Reading("power", 1.2, "kW")),
        ("charge_energy=1e6", Reading("charge_energy", 1e6, "Wh")),
        ("soc=0.61", Reading("soc", 0.61, "/")),
        # A person's percent is SenML's "/100" (RFC 8798 §3); its "%" is a ratio (RFC 8428 Note 2).
        ("soc=61%", Reading("soc", 61.0, "/100")),
        ("temperature=-3°C", Reading("temperature", -3.0, "Cel")),
        ("fan_speed=0.4/", Reading("fan_speed", 0.4, "/")),
    ],
)
def test_a_typed_reading_means_what_it_says(text: str, reading: Reading) -> None:
    assert parse_reading(text) == reading


@pytest.mark.parametrize(
    "text",
    [
        "voltage",
        "voltage=",
        "voltage=high",
        "=5V",
        "_x=5V",
        "a b=5V",
        "voltage=1e999V",
        "power=nan",
    ],
)
def test_what_is_no_reading_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(WrongError, match="is not a reading") as refused:
        parse_reading(text)
    assert "current=-12.4A" in str(refused.value)


# "C" is coulomb in SenML (RFC 8428 §12.1), so it is not taken for a temperature.
@pytest.mark.parametrize("text", ["voltage=53.1Q", "temperature=20C", "voltage=53,1V"])
def test_an_unknown_unit_is_refused_with_those_it_knows(text: str) -> None:
    with pytest.raises(WrongError, match="does not know the unit") as refused:
        parse_reading(text)
    assert "°C" in str(refused.value)


def test_a_quantity_of_no_vocabulary_needs_its_unit() -> None:
    with pytest.raises(WrongError, match="cannot tell the unit"):
        parse_reading("fan_speed=0.4")


def test_a_pack_carries_its_time_once_and_each_reading_with_its_unit() -> None:
    pack = make_pack([Reading("voltage", 53.1, "V"), Reading("soc", 0.61, "/")], 1_752_494_400_250)
    # RFC 8428 §4.1: base fields in the first record hold for those after it.
    assert json.loads(pack) == [
        {"bt": 1752494400.25, "n": "voltage", "u": "V", "v": 53.1},
        {"n": "soc", "u": "/", "v": 0.61},
    ]


def test_a_pack_with_secondary_units_says_so_in_its_version() -> None:
    # RFC 9100 §4: 10 for RFC 8428, and bit 4 (16) for the secondary units of RFC 8798.
    pack = json.loads(make_pack([Reading("energy", 5.0, "kWh")], 0))
    assert pack[0]["bver"] == 10 + 16
