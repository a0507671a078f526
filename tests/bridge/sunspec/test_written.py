from collections.abc import Mapping
from pathlib import Path

import pytest

from joulebook_bridge.batch import Instant
from joulebook_bridge.configuration import Configuration, load_configuration
from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.reading import group_readers
from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.scan import scan
from joulebook_bridge.sunspec.written import configuration_of
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.register_maps import ScriptedLine
from tests.helpers.sunspec_plants import chain, changed, image

ENVIRON = bridge_environ()


def written(folder: Path, line: ScriptedLine, *units: int) -> tuple[str, Configuration]:
    text = configuration_of(NetworkLine("10.0.0.7", 502), scan(line, units))
    (folder / "found.toml").write_text(text)
    return text, load_configuration(folder / "found.toml", ENVIRON)


def readings(line: ScriptedLine, configuration: Configuration) -> dict[str, float]:
    found: dict[str, float] = {}
    for plan in configuration.lines:
        for unit in plan.units:
            for expectation in unit.map.expectations:
                at = expectation.registers
                words = tuple(line.read(unit.number, at.function, at.address, at.count))
                assert words == expectation.words
            for reader in group_readers(unit):
                for batch in reader.read(line, lambda: Instant(0, 0), lambda *_: None):
                    for (quantity, _), value in zip(batch.shape.columns, batch.values, strict=True):
                        found[f"{batch.shape.device}/{quantity}"] = value
    return found


def plant(battery: list[int]) -> Mapping[int, Mapping[int, int]]:
    return {1: chain(image(103)), 2: chain(battery)}


def test_what_is_written_reads_what_was_found(tmp_path: Path) -> None:
    line = ScriptedLine(plant(image(802)))
    text, configuration = written(tmp_path, line, 1, 2)
    got = readings(line, configuration)
    # CV-25, CV-26 and CV-29d. It was discharging (ChaSt 3) at -21.4 A: charging is positive here,
    # so the sign stays. Its inverter took that current: negative as well.
    expected = {
        "battery/voltage": 53.1,
        "battery/current": -21.4,
        "battery/power": -1136.0,
        "battery/soc": 0.613,
        "battery/soh": 0.998,
        "battery/cell_voltage_max": 3.326,
        "inverter/dc_voltage": 53.12,
        "inverter/dc_current": -21.4,
        "inverter/temperature": 41.2,
    }
    assert {name: got[name] for name in expected} == expected
    assert "# model 802, V; at the scan: 53.1 V" in text
    assert 'url = "tcp://10.0.0.7:502"' in text


@pytest.mark.parametrize("amperes", [214, -214])
def test_a_charging_battery_comes_out_positive(tmp_path: Path, amperes: int) -> None:
    # CV-29c: whatever sign the equipment shows while it says CHARGING (4).
    line = ScriptedLine(plant(changed(802, ChaSt=4, A=amperes, W=amperes * 5)))
    _, configuration = written(tmp_path, line, 1, 2)
    got = readings(line, configuration)
    assert got["battery/current"] == 21.4
    assert got["battery/power"] == 1070.0


def test_an_open_sign_is_written_as_undecided_and_nothing_is_sent(tmp_path: Path) -> None:
    line = ScriptedLine(plant(changed(802, ChaSt=6)))
    text, configuration = written(tmp_path, line, 2)
    assert text.count('positive_means = "undecided"') == 2
    assert "battery/current" not in readings(line, configuration)


def test_an_inverter_of_floats(tmp_path: Path) -> None:
    # Model 113 is 103 in floats without scales; their mark for "not implemented" is no number.
    words = model_words(113, {"W": 0x447A0000, "DCV": 0x42547AE1}, length=60)
    line = ScriptedLine({1: chain(words)})
    text, configuration = written(tmp_path, line, 1)
    assert readings(line, configuration) == {
        "inverter/dc_voltage": 53.12,
        "inverter/ac_power": 1000,
    }
    assert "not_available" not in text.replace("not_available = [0]", "")


def test_units_without_models_have_a_place_for_a_map(tmp_path: Path) -> None:
    line = ScriptedLine({1: chain(image(802)), 4: {0: 1}, 5: chain()})
    text, configuration = written(tmp_path, line, 1, 4, 5)
    assert "#number = 4" in text
    assert "#number = 5" in text  # it describes itself, and nothing that is measured
    assert [unit.number for unit in configuration.lines[0].units] == [1]


def test_a_name_cannot_break_the_file(tmp_path: Path) -> None:
    words = chain(image(802))
    words[40004] = 0x225C  # a quotation mark and a backslash at the head of the maker's name
    _, configuration = written(tmp_path, ScriptedLine({1: words}), 1)
    assert configuration.lines[0].units[0].map.name == "ay Works 6 1.2"
