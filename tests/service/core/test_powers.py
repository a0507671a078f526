import numpy as np
import pytest

from joulebook.core.powers import DeviceArrays, SeriesSources

AT = np.array([0, 60_000, 120_000])


def _sources(**devices: dict[str, list[float]]) -> SeriesSources:
    """Sources of a site that has ever reported just this; ``_`` in a name stands for a hyphen."""
    named = {name.replace("_", "-"): values for name, values in devices.items()}
    return SeriesSources(
        {
            name: DeviceArrays(AT, {q: np.array(value) for q, value in values.items()})
            for name, values in named.items()
        },
        {name: frozenset(values) for name, values in named.items()},
    )


def test_the_power_that_a_device_reports_comes_first() -> None:
    power = _sources(
        battery={"power": [1.0, 2.0, 3.0], "voltage": [50.0] * 3, "current": [9.0] * 3}
    ).power("battery")
    assert power.line is not None
    assert power.line.value.tolist() == [1.0, 2.0, 3.0]
    assert power.words == "battery power: battery/power"


def test_volts_times_amperes_stand_in_for_it() -> None:
    power = _sources(battery={"voltage": [50.0] * 3, "current": [2.0, np.nan, 4.0]}).power(
        "battery"
    )
    assert power.line is not None
    assert power.line.value.tolist() == [100.0, 200.0]
    assert power.words == "battery power: battery/voltage times current"


def test_legs_make_a_load() -> None:
    load = _sources(load={"power_l1": [1.0] * 3, "power_l2": [2.0] * 3}).power("load")
    assert load.line is not None
    assert load.line.value.tolist() == [3.0] * 3


def test_current_from_power_where_there_is_no_voltage_drop_to_zero() -> None:
    sources = _sources(battery={"power": [100.0] * 3, "voltage": [50.0, 0.0, 40.0]})
    current = sources.battery_current().line
    assert current is not None
    assert current.value.tolist() == [2.0, 2.5]  # no amperes from zero volts


def test_several_devices_add_up_where_all_are_there() -> None:
    sources = _sources(
        battery={"power": [1.0, 1.0, np.nan]}, battery_2={"power": [10.0, 20.0, 30.0]}
    )
    power = sources.power("battery")
    assert power.line is not None
    assert power.line.joined.tolist() == [True, False]
    assert power.line.value[:2].tolist() == [11.0, 21.0]
    assert power.words == "battery power: battery/power + battery-2/power"


def test_a_silent_device_makes_the_sum_unknown() -> None:
    sources = SeriesSources(
        {"pv": DeviceArrays(AT, {"power": np.ones(3)})},
        {"pv": frozenset({"power"}), "pv-2": frozenset({"power"})},
    )
    power = sources.power("pv")
    assert power.line is not None
    assert not power.line.joined.any()


def test_a_device_with_nothing_to_add_is_left_out() -> None:
    sources = _sources(pv={"power": [1.0] * 3}, pv_2={"voltage": [300.0] * 3})
    assert sources.power("pv").words == "pv power: pv/power"
    assert _sources(pv_2={"voltage": [300.0] * 3}).power("pv").words == (
        "pv: reports nothing that gives its power"
    )


def test_a_kind_that_the_site_never_had_is_not_there() -> None:
    power = _sources(battery={"power": [1.0] * 3}).power("pv")
    assert power.line is None
    assert power.words == "pv: the site has no such device, counted as not there"


def test_levels_come_one_curve_a_device() -> None:
    sources = _sources(
        battery={"soc": [0.5] * 3}, battery_2={"soc": [0.7] * 3}, battery_3={"power": [0.0] * 3}
    )
    levels = sources.each("battery", "soc")
    assert [level.value[0] for level in levels] == pytest.approx([0.5, 0.7])


def test_a_load_below_zero_is_missing_and_told() -> None:
    load = _sources(load={"power": [400.0, -30.0, 400.0]}).power("load")
    assert load.line is not None
    assert load.line.at_ms.tolist() == [0, 120_000]
    assert load.words == "load power: load/power (readings below zero left out)"
    assert load.trouble is None


def test_a_clamp_s_offset_at_rest_is_no_trouble() -> None:
    load = _sources(load={"power": [400.0, -25.0, np.nan]}).power("load")
    assert load.line is not None
    assert load.line.value.tolist() == [400.0, -25.0]
    assert load.words == "load power: load/power"


def test_of_a_reversed_clamp_nothing_is_believed() -> None:
    panels = _sources(pv={"power": [3.0, -900.0, -1200.0]}, pv_2={"power": [9.0] * 3}).power("pv")
    assert panels.line is not None
    assert not panels.line.joined.any()
    assert panels.words == "pv power: pv/power (left out: below zero) + pv-2/power"
    assert panels.trouble is not None
    assert panels.trouble.startswith("pv/power reads below zero")


def test_one_reversed_leg_of_two_is_found_though_their_sum_looks_fine() -> None:
    load = _sources(load={"power_l1": [480.0] * 3, "power_l2": [-400.0] * 3}).power("load")
    assert load.line is not None
    assert not load.line.joined.any()
    assert load.trouble is not None
    assert load.trouble.startswith("load/power_l2 reads below zero")


def test_panels_of_which_volts_and_amperes_are_known_are_judged_by_their_product() -> None:
    panels = _sources(pv={"voltage": [300.0] * 3, "current": [-2.0] * 3}).power("pv")
    assert panels.trouble is not None
    assert panels.trouble.startswith("pv/voltage times current reads below zero")


def test_a_battery_and_a_grid_may_be_below_zero() -> None:
    sources = _sources(battery={"power": [-900.0] * 3}, grid={"power": [-900.0] * 3})
    for kind in ("battery", "grid"):
        source = sources.power(kind)
        assert source.line is not None
        assert (source.line.value.tolist(), source.trouble) == ([-900.0] * 3, None)
