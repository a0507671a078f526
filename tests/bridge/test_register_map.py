from pathlib import Path

import pytest

from joulebook_bridge.errors import WrongError
from joulebook_bridge.modbus.planning import Registers
from joulebook_bridge.register_map import parse_map
from joulebook_bridge.toml_tables import read_toml
from tests.helpers.register_maps import CURRENT, HEAD, PANELS, SLOW, VOLTAGE, map_of

STUDIO = Path(__file__).parents[2] / "clients/bridge/joulebook_bridge/simulate/studio-meter.toml"


def refused(*parts: str, head: str = HEAD) -> WrongError:
    with pytest.raises(WrongError) as error:
        map_of(*parts, head=head)
    return error.value


def test_the_example_of_the_docs_is_a_map() -> None:
    found = parse_map(read_toml(STUDIO))
    assert found.name == "Studio meter M1"
    assert len(found.entries) == 11
    power = found.entries[0]
    assert (power.device, power.quantity, power.unit) == ("grid", "power", "W")
    assert power.registers == Registers(4, 100, 2)
    assert power.meaning is not None
    assert power.meaning.turned
    assert power.meaning.number.low_word_first


def test_what_a_reading_may_say() -> None:
    reading = VOLTAGE.replace("divide_by = 10", "") + (
        'unit = "mV"\nzero_at = 5\nmultiply_by = 2\ndivide_by = 4\nnot_available = [0]\n'
        'word_order = "low word first"\nregisters = "input"\n'
        "scale_address = 30\nsign_address = 31\n"
    )
    [entry] = map_of(reading).entries
    assert entry.unit == "mV"
    assert entry.meaning is not None
    assert entry.meaning.value([25]) == 10.0  # (25 - 5) x 2 / 4
    assert entry.meaning.value([0]) is None
    assert entry.wanted() == [Registers(4, 10, 1), Registers(4, 30, 1), Registers(4, 31, 1)]


def test_addresses_that_a_manual_counts_from_one() -> None:
    found = map_of(
        "[[expect]]\naddress = 1\nwords = [7]\n", VOLTAGE, head=HEAD + "first_address = 1\n"
    )
    assert found.entries[0].registers.address == 9
    assert found.expectations[0].registers.address == 0


def test_a_sign_is_asked_for_where_a_value_runs_both_ways() -> None:
    error = refused(CURRENT.replace('positive_means = "discharging"\n', ""))
    assert error.what == "'positive_means' is missing"
    assert error.expected == "one of 'charging', 'discharging', 'undecided'"
    assert error.where == "map.toml, line 4"
    grid = CURRENT.replace("battery", "grid").replace("current", "power")
    assert "'importing', 'exporting'" in refused(grid).expected
    second = CURRENT.replace('"battery"', '"battery-2"').replace('"discharging"', '"charging"')
    [entry] = map_of(second).entries
    assert entry.meaning is not None
    assert not entry.meaning.turned


def test_a_sign_is_refused_where_a_value_runs_one_way() -> None:
    error = refused(VOLTAGE + 'positive_means = "charging"\n')
    assert error.what == "'voltage' of 'battery' runs one way only"
    assert error.next_step == "leave it out"


def test_an_undecided_sign_has_no_meaning_yet() -> None:
    [entry] = map_of(CURRENT.replace('"discharging"', '"undecided"')).entries
    assert entry.meaning is None


@pytest.mark.parametrize(
    ("old", "new", "what", "line"),
    [
        ('"battery"', '"Battery"', "'Battery' cannot name a device", 5),
        ('"voltage"', '"Voltage"', "'Voltage' cannot name a quantity", 6),
        ("address = 10", "address = 65536", "address is 65536", 7),
        ('"u16"', '"u24"', "type is 'u24'", 8),
        ("divide_by = 10", "divide_by = 0", "divide_by is 0", 9),
        ("divide_by = 10", "devide_by = 10", "unknown key 'devide_by'", 9),
        ("divide_by = 10", 'unit = "volt"', "unit is 'volt'", 9),
        ("divide_by = 10", 'group = "slow"', "group is 'slow'", 9),
        ("divide_by = 10", "not_available = 5", "not_available is 5", 9),
        ('quantity = "voltage"', "", "'quantity' is missing", 4),
    ],
)
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, what: str, line: int) -> None:
    error = refused(VOLTAGE.replace(old, new))
    assert error.what == what
    assert error.where == f"map.toml, line {line}"


def test_a_quantity_of_no_vocabulary_needs_its_unit_even_if_it_has_none() -> None:
    error = refused(VOLTAGE.replace("voltage", "mood"))
    assert error.what == "nobody can tell the unit of 'mood'"
    [entry] = map_of(VOLTAGE.replace("voltage", "mood") + 'unit = ""\n').entries
    assert entry.unit == ""


def test_the_last_register_is_65535() -> None:
    error = refused(VOLTAGE.replace("10", "65535").replace("u16", "u32"))
    assert error.what == "2 registers from there are too many"


def test_groups_and_their_intervals() -> None:
    assert [entry.every_s for entry in map_of(SLOW, VOLTAGE, PANELS).entries] == [1.0, 10.0]
    assert refused("[groups.slow]\nevery_s = 0\n", VOLTAGE).where == "map.toml, line 4"
    assert "unknown key 'often'" in refused("[groups.slow]\nevery_s = 1\noften = 1\n", VOLTAGE).what


def test_expectations_have_words() -> None:
    assert refused("[[expect]]\naddress = 0\n", VOLTAGE).what == "there are 0 words"


def test_a_map_has_a_format_a_name_and_readings() -> None:
    assert refused(VOLTAGE, head='name = "x"\n').what == "'format' is missing"
    assert refused(VOLTAGE, head='format = 2\nname = "x"\n').what == "format is 2"
    assert refused(VOLTAGE, head="format = 1\n").what == "'name' is missing"
    assert refused().what == "the map has no readings"
