"""Verdicts of rehearsals, the worst first."""

from dataclasses import replace

from joulebook.core.loads.rehearsal import Seen, verdict

CALM = Seen(went_dark=False, change_a=30.0, lowest_cell_v=3.25, room_w=4600.0)


def test_nothing_switched_on_tells_nothing() -> None:
    assert verdict(None).name == "nothing"


def test_what_the_battery_carried() -> None:
    assert verdict(CALM).name == "carried"
    unrated = replace(CALM, lowest_cell_v=None, room_w=None)
    assert verdict(unrated).name == "carried"


def test_a_house_that_went_dark_is_said_before_all() -> None:
    found = verdict(replace(CALM, went_dark=True, lowest_cell_v=2.8))
    assert found.name == "dark"
    assert "Do not repeat it" in found.sentence


def test_what_came_close_names_each_limit() -> None:
    assert verdict(replace(CALM, lowest_cell_v=2.95)).sentence == (
        "It went on, and came close: the lowest cell fell to 2.95 V."
    )
    assert verdict(replace(CALM, lowest_cell_v=2.95, room_w=-180.0)).sentence == (
        "It went on, and came close: the load went 180 W above what the inverter is rated for and "
        "the lowest cell fell to 2.95 V."
    )


def test_what_sun_or_grid_carried_is_no_proof() -> None:
    assert verdict(replace(CALM, change_a=2.0)).name == "helped"
    assert verdict(replace(CALM, change_a=None)).name == "unknown"
