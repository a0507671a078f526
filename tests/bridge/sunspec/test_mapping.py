import pytest

from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.mapping import CHARGING, DISCHARGING, charging_is_positive, matches
from joulebook_bridge.sunspec.walk import Model
from tests.helpers.sunspec_plants import changed, image, model


def found(*words: list[int]) -> dict[str, float | None]:
    models = [model(each, 40070 + 1000 * place) for place, each in enumerate(words)]
    return {
        f"{match.target.device}/{match.target.quantity}": match.value for match in matches(models)
    }


def test_a_battery_model_gives_our_quantities_in_our_units() -> None:
    # CV-25 and CV-29d: 61.3 and 99.8 percent are the ratios 0.613 and 0.998.
    assert found(image(802)) == {
        "battery/voltage": 53.1,
        "battery/current": -21.4,
        "battery/power": -1136.0,
        "battery/soc": 0.613,
        "battery/soh": 0.998,
        "battery/cell_voltage_min": 3.313,
        "battery/cell_voltage_max": 3.326,
        "battery/cycles": 65537.0,
        "battery/charge_status": 3.0,
    }


def test_an_inverter_model_gives_our_quantities() -> None:
    # CV-26. The direct current has no sign of its own.
    assert found(image(103)) == {
        "inverter/dc_voltage": 53.12,
        "inverter/dc_current": 21.4,
        "inverter/temperature": 41.2,
        "inverter/ac_power": 1000.0,
        "inverter/ac_voltage_l1": 120.1,
        "inverter/ac_voltage_l2": 120.0,
        "inverter/frequency": 59.98,
        "inverter/ac_energy": 4294967290.0,
    }


def test_of_two_points_for_one_quantity_the_better_known_counts() -> None:
    both = found(image(713), image(802))
    assert both["battery/soc"] == 0.613  # 802's; 713 says 0.61
    assert both["battery/available_energy"] == 9701.0
    assert found(image(713))["battery/soc"] == 0.61


def test_one_that_gives_nothing_yields_to_one_that_does() -> None:
    assert found(image(713), changed(802, SoC=0xFFFF))["battery/soc"] == 0.61
    assert found(changed(802, SoC=0xFFFF))["battery/soc"] is None


def test_a_point_without_its_scale_is_not_taken() -> None:
    assert "battery/soc" not in found(changed(802, SoC_SF=0x8000))


def test_ports_of_panels_and_of_a_store() -> None:
    values = {
        "DCA_SF": -1,
        "DCV_SF": -1,
        "DCW_SF": 0,
        "DCWH_SF": 0,
        "Tmp_SF": 0,
        "Prt[1].PrtTyp": 0,
        "Prt[1].DCW": 900,
        "Prt[1].DCWhInj": 5000,
        "Prt[2].PrtTyp": 0,
        "Prt[2].DCW": 300,
        "Prt[3].PrtTyp": 1,
        "Prt[3].DCA": -214,
        "Prt[3].DCWhInj": 70,
        "Prt[3].DCWhAbs": 80,
    }
    words = model_words(714, values, length=18 + 25 * 5, NPrt=5)
    got = found(words)
    assert got["pv/power"] == 900.0
    assert got["pv/energy"] == 5000.0
    assert got["pv-2/power"] == 300.0
    # CV-29c: injected is given to the inverter, absorbed is taken from it.
    assert got["battery/discharge_energy"] == 70.0
    assert got["battery/charge_energy"] == 80.0
    assert got["battery/current"] == -21.4


def test_counters_and_states_of_other_models() -> None:
    assert found(model_words(122, {"ActWh": 7}, length=44))["inverter/ac_energy"] == 7.0
    storage = model_words(
        124,
        {"ChaState": 61, "ChaState_SF": 0, "ChaSt": 4, "InBatV": 531, "InBatV_SF": -1},
        length=24,
    )
    assert found(storage) == {
        "battery/soc": 0.61,
        "battery/voltage": 53.1,
        "battery/charge_status": 4.0,
    }
    assert found(model_words(701, {"W": -50, "W_SF": 1}))["inverter/ac_power"] == -500.0


def test_an_inverter_without_the_power_beside_it_gives_no_current() -> None:
    short = Model(103, 0, (103, 28, *image(103)[2:30]))
    assert "dc_current" not in {match.target.quantity for match in matches([short])}


@pytest.mark.parametrize(
    ("status", "amperes", "positive"),
    [
        # CV-29c: the model leaves the sign undefined; while it charges, it must come out positive.
        (CHARGING, 214, True),
        (CHARGING, -214, False),
        (DISCHARGING, 214, False),
        (DISCHARGING, -214, True),
        (CHARGING, 0, None),
        (6, -214, None),  # holding
        (0xFFFF, -214, None),
    ],
)
def test_the_sign_is_what_it_is_while_the_battery_charges(
    status: int, amperes: int, positive: bool | None
) -> None:
    models = [model(changed(802, ChaSt=status, A=amperes))]
    [current] = [match for match in matches(models) if match.target.quantity == "current"]
    assert charging_is_positive(current, models) is positive


def test_direct_current_into_an_inverter_is_discharging() -> None:
    models = [model(image(103))]
    [current] = [match for match in matches(models) if match.target.quantity == "dc_current"]
    assert charging_is_positive(current, models) is False
    assert charging_is_positive(current, []) is False
