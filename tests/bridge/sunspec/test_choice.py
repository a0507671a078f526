from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.choice import choose
from joulebook_bridge.sunspec.walk import Model
from tests.helpers.sunspec_plants import image, model

STORAGE = model_words(124, {"ChaState": 61, "ChaState_SF": 0, "ChaSt": 4}, length=24)
PORTS = model_words(
    714,
    {"DCWH_SF": 0, "DCV_SF": 0, "Prt[1].PrtTyp": 1, "Prt[1].DCWhInj": 7, "Prt[1].DCV": 53},
    length=43,
    NPrt=1,
)


def names(*units: list[Model]) -> list[list[str]]:
    return [
        [f"{match.target.device}/{match.target.quantity}" for match in chosen]
        for chosen in choose(units)
    ]


def test_direct_current_is_a_batterys_only_where_there_is_one() -> None:
    [alone] = names([model(image(103))])
    assert "inverter/dc_current" not in alone
    [inverter, _] = names([model(image(103))], [model(image(802))])
    assert "inverter/dc_current" in inverter


def test_an_inverter_that_tells_of_a_battery_adds_what_the_battery_does_not_give() -> None:
    inverter, battery = names([model(PORTS)], [model(image(802))])
    assert inverter == ["battery/discharge_energy", "battery/charge_energy"]
    assert "battery/voltage" in battery


def test_with_two_batteries_an_inverters_word_is_left_out() -> None:
    inverter, first, second = names([model(PORTS)], [model(image(802))], [model(image(802))])
    assert inverter == []
    assert "battery/voltage" in first
    assert "battery-2/voltage" in second


def test_a_second_inverter_and_its_battery_have_names_of_their_own() -> None:
    first, second = names([model(image(103)), model(STORAGE)], [model(image(103)), model(STORAGE)])
    assert "inverter/ac_power" in first
    assert "battery/soc" in first
    assert "inverter-2/ac_power" in second
    assert "battery-2/soc" in second


def test_nothing_of_nothing() -> None:
    assert choose([[], []]) == [[], []]
