import pytest

from joulebook_bridge.batch import Instant
from joulebook_bridge.configuration import Unit
from joulebook_bridge.modbus.faults import RefusedFault, SilentFault
from joulebook_bridge.modbus.reading import StrangerFault, group_readers, value_of
from tests.helpers.register_maps import CURRENT, HEAD, PANELS, SLOW, VOLTAGE, ScriptedLine, map_of

AT = Instant(5000, 70)


def read(line: ScriptedLine, *parts: str, group: int = 0) -> tuple[dict[str, float], list[str]]:
    refused: list[str] = []
    readers = group_readers(Unit(1, map_of(*parts)))
    batches = readers[group].read(line, lambda: AT, lambda what, _: refused.append(what))
    assert all(batch.at == AT for batch in batches)
    found = {
        f"{batch.shape.device}/{quantity} {unit}": value
        for batch in batches
        for (quantity, unit), value in zip(batch.shape.columns, batch.values, strict=True)
    }
    return found, refused


def test_a_group_is_read_in_one_request_and_turned_to_our_signs() -> None:
    line = ScriptedLine({1: {10: 531, 11: 214}})
    found, _ = read(line, VOLTAGE, CURRENT)
    # 21.4 A by a device that counts discharging as positive: joulebook counts charging.
    assert found == {"battery/voltage V": 53.1, "battery/current A": -21.4}
    assert line.asked == [(1, 3, 10, 2)]


def test_groups_are_read_apart() -> None:
    readers = group_readers(Unit(1, map_of(SLOW, VOLTAGE, PANELS)))
    assert [reader.every_ms for reader in readers] == [1000, 10000]
    line = ScriptedLine({1: {10: 531, 20: 900}})
    assert read(line, SLOW, VOLTAGE, PANELS, group=1)[0] == {"pv/power W": 900.0}


def test_what_is_not_available_is_left_out() -> None:
    line = ScriptedLine({1: {10: 0xFFFF, 11: 5}})
    found, _ = read(line, VOLTAGE + "not_available = [65535]\n", CURRENT)
    assert found == {"battery/current A": -0.5}


def test_registers_that_the_unit_does_not_have_cost_only_themselves() -> None:
    line = ScriptedLine({1: {10: 531}})
    far = CURRENT.replace("11", "40")
    found, refused = read(line, VOLTAGE, far)
    assert found == {"battery/voltage V": 53.1}
    assert refused == ["1 registers from address 40"]


def test_a_unit_without_any_of_them_gives_nothing() -> None:
    assert read(ScriptedLine({1: {}}), VOLTAGE) == ({}, ["1 registers from address 10"])


@pytest.mark.parametrize("fault", [SilentFault("no"), RefusedFault(6)])
def test_silence_and_being_busy_end_the_round(fault: SilentFault) -> None:
    line = ScriptedLine({1: {10: 531}})
    line.faults[1] = fault
    with pytest.raises(type(fault)):
        read(line, VOLTAGE)


def test_a_scale_and_a_sign_in_registers_of_their_own() -> None:
    beside = VOLTAGE.replace("divide_by = 10", "scale_address = 12\nsign_address = 13")
    line = ScriptedLine({1: {10: 531, 12: 0xFFFF, 13: 0x8001}})
    assert read(line, beside)[0] == {"battery/voltage V": -53.1}
    [entry] = map_of(beside).entries
    # Without its scale or its sign a number says nothing.
    assert value_of(entry, {(3, 10): 531, (3, 12): 0xFFFF}) is None
    assert value_of(entry, {(3, 10): 531, (3, 13): 1}) is None
    assert value_of(entry, {(3, 12): 531, (3, 13): 1}) is None


def test_an_undecided_sign_is_not_sent() -> None:
    line = ScriptedLine({1: {10: 531, 11: 214}})
    undecided = CURRENT.replace('"discharging"', '"undecided"')
    assert read(line, VOLTAGE, undecided)[0] == {"battery/voltage V": 53.1}


def test_a_stranger_says_what_was_found() -> None:
    fault = StrangerFault(40000, (21365, 28243), (0, 0))
    assert "at address 40000 it has [0, 0], expected [21365, 28243]" in str(fault)
    assert map_of(VOLTAGE, head=HEAD).name == "a battery"
