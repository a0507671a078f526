import datetime

import pytest

from joulebook_bridge.modbus.faults import RefusedFault, SilentFault, UnreachableFault
from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.scan import describe, facts, scan, warranty_date
from tests.helpers.register_maps import ScriptedLine
from tests.helpers.sunspec_plants import chain, changed, image, model


def test_units_that_answer_are_found() -> None:
    line = ScriptedLine({1: chain(image(103), image(802)), 2: {}, 3: {}, 4: {5: 1}})
    line.faults = {2: SilentFault("no"), 3: RefusedFault(11)}
    found = scan(line, (1, 2, 3, 4))
    assert [(each.unit, each.chain is not None) for each in found] == [(1, True), (4, False)]
    assert found[0].name() == "Clay Works 6 1.2"
    assert found[1].name() == "no name"


def test_a_line_that_is_away_is_no_silent_unit() -> None:
    line = ScriptedLine({})
    line.faults = {1: UnreachableFault("nothing answers")}
    with pytest.raises(UnreachableFault):
        scan(line, (1,))


def test_what_was_found_is_told_to_a_person() -> None:
    line = ScriptedLine({1: chain(image(103), image(802), [65000, 1, 0]), 2: {5: 1}})
    told = describe(scan(line, (1, 2)))
    assert told[0] == "unit 1: Clay Works 6 1.2 (SunSpec from address 40000)"
    assert "  model 802 at 40122: Battery Base Model" in told
    # CV-28: days since 2000-01-01: 13149 is 2036-01-01.
    assert "  says of itself: warranty until 2036-01-01" in told
    assert "  says of itself: rated 314 Ah" in told
    assert "  says of itself: rated 16.08 kWh" in told
    assert "  says of itself: model 65000 is not known here, and is passed over" in told
    assert "  battery/soc 0.613" in told
    assert "  battery/current -21.4 A" in told
    assert told[-1].startswith("unit 2 answers, and does not describe itself")
    assert not any("which sign" in text for text in told)


def test_a_battery_at_rest_leaves_the_sign_open() -> None:
    line = ScriptedLine({1: chain(changed(802, ChaSt=6, SoC=0xFFFF))})
    told = describe(scan(line, (1,)))
    assert sum("which sign is charging?" in text for text in told) == 2  # current and power
    assert "  battery/soc nothing" in told


def test_ratings_of_inverters_and_models_that_hold_settings() -> None:
    rated = model(model_words(120, {"WRtg": 6, "WRtg_SF": 3}))
    newer = model(model_words(702, {"WMaxRtg": 5000, "W_SF": 0}, length=50))
    controls = model([123, 24, *[0] * 24])
    assert facts([rated, newer, controls]) == [
        "rated 6000 W",
        "rated 5000 W",
        "model 123 holds settings: joulebook neither writes nor needs them",
    ]
    assert facts([model(model_words(120, {}))]) == []
    assert facts([model(model_words(802, {}))]) == []


def test_warranty_dates() -> None:
    # CV-28: SunSpec model 802, "Number of days since 1/1/2000".
    assert warranty_date(0) == datetime.date(2000, 1, 1)
    assert warranty_date(13149) == datetime.date(2036, 1, 1)
    assert warranty_date(4_000_000_000) is None
    missing = changed(802)
    missing[24:26] = [0xFFFF, 0xFFFF]
    assert not any("warranty" in fact for fact in facts([model(missing)]))
