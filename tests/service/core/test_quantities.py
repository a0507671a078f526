from joulebook.core.quantities import QUANTITIES, SUFFIXES, kind_of, quantity_of


def test_a_second_device_has_the_kind_of_the_first() -> None:
    assert kind_of("battery-2") == kind_of("battery") == "battery"
    assert quantity_of("battery-2", "soc") == QUANTITIES["battery"]["soc"]


def test_an_unknown_device_or_quantity_is_not_known() -> None:
    assert quantity_of("kiln", "power") is None
    assert quantity_of("battery", "mood") is None


def test_every_unit_has_a_suffix() -> None:
    units = {each.unit for kind in QUANTITIES.values() for each in kind.values()}
    assert units <= set(SUFFIXES)


def test_counters_count_energy_and_never_fall_below_zero() -> None:
    counters = [each for kind in QUANTITIES.values() for each in kind.values() if each.counter]
    assert {each.unit for each in counters} == {"Wh"}
    assert all(each.never_negative for each in counters)
