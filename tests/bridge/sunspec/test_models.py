"""Words of models. Sources: SunSpec's definition files and pysunspec2 1.3.7, which decodes too."""

import math
from typing import Any

import pytest
import sunspec2.mb
from hypothesis import given, settings
from hypothesis import strategies as st
from sunspec2.device import Model as WitnessModel

from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.models import (
    Point,
    definition,
    is_scaled,
    label,
    points,
    text,
    value,
)
from joulebook_bridge.sunspec.walk import Model
from tests.helpers.sunspec_plants import COMMON, IMAGES, changed, image, model


@pytest.mark.parametrize("model_id", [802, 103, 713])
def test_an_image_reads_as_pysunspec2_reads_it(model_id: int) -> None:
    # CV-25, CV-26, CV-27: images composed from SunSpec's point tables.
    found = model(image(model_id))
    decoded: dict[str, Any] = IMAGES[str(model_id)]["decoded"]
    laid = points(found)
    assert list(laid) == list(decoded)
    for name, expected in decoded.items():
        got = value(found, laid[name])
        if expected is None:
            assert got is None, name
        else:
            assert got == pytest.approx(expected, abs=1e-9), name


def test_offsets_are_counted_from_the_models_number() -> None:
    # CV-29: SunSpec's definition files.
    offsets = {
        802: {"AHRtg": 2, "WHRtg": 3, "SoC": 11, "SoH": 13, "NCyc": 14, "V": 34, "CellVMax": 37}
        | {"CellVMin": 40, "A": 44, "W": 47, "SoC_SF": 56, "V_SF": 59, "A_SF": 61, "W_SF": 63},
        103: {"A": 2, "W": 14, "W_SF": 15, "Hz": 16, "WH": 24, "DCA": 27, "DCV": 29, "DCW": 31}
        | {"TmpCab": 33},
        713: {"SoC": 4, "SoH": 5},
    }
    for model_id, expected in offsets.items():
        laid = points(model(image(model_id)))
        assert {name: laid[name].offset for name in expected} == expected
    laid = points(Model(714, 0, (714, 43, *[0] * 4, *[0] * 39)))
    expected = {"DCA": 5, "DCW": 6, "DCWhInj": 7, "DCWhAbs": 11}
    assert {name: laid[name].offset for name in expected} == expected
    laid = points(Model(124, 0, (124, 24, *[0] * 24)))
    assert (laid["ChaState"].offset, laid["InBatV"].offset, laid["ChaSt"].offset) == (8, 10, 11)


def test_lengths_of_models() -> None:
    # CV-22: SunSpec's definition files; the two words in front do not count.
    fixed = {1: 66, 101: 50, 102: 50, 103: 50, 120: 26, 121: 30, 122: 44, 123: 24, 124: 24}
    fixed |= {701: 153, 713: 7, 802: 62}
    for model_id, length in fixed.items():
        laid = points(Model(model_id, 0, (model_id, length, *[0] * length)))
        last = list(laid.values())[-1]
        assert last.offset + last.size - 2 == length, model_id


@pytest.mark.parametrize(
    ("model_id", "count", "fixed", "each"),
    [(714, "NPrt", 18, 25), (803, "NStr", 26, 32), (804, "NMod", 46, 16), (805, "NCell", 42, 4)],
)
def test_groups_repeat_as_often_as_their_count_says(
    model_id: int, count: str, fixed: int, each: int
) -> None:
    # CV-22: 714: 18 + 25 a port; 803: 26 + 32 a string; 804: 46 + 16 a module; 805: 42 + 4 a cell.
    times = 3
    length = fixed + times * each
    words = [model_id, length] + [0] * length
    words[points(Model(model_id, 0, tuple(words)))[count].offset] = times
    last = list(points(Model(model_id, 0, tuple(words))).values())[-1]
    assert last.offset + last.size - 2 == length


@pytest.mark.parametrize(("model_id", "fixed"), [(704, 57), (705, 13), (706, 13)])
def test_groups_that_are_there_once_follow_the_fixed_part(model_id: int, fixed: int) -> None:
    # CV-22: the first level of these models, without their groups.
    length = fixed + 40
    laid = points(Model(model_id, 0, (model_id, length, *[1] * length)))
    outer = [point for name, point in laid.items() if "[" not in name]
    inner = [point for name, point in laid.items() if "[1]." in name]
    assert outer[-1].offset + outer[-1].size - 2 == fixed
    assert inner[0].offset == fixed + 2


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        # CV-23: SunSpec's marks for "not implemented".
        ("int16", [0x8000]),
        ("uint16", [0xFFFF]),
        ("enum16", [0xFFFF]),
        ("bitfield16", [0xFFFF]),
        ("int32", [0x8000, 0]),
        ("uint32", [0xFFFF, 0xFFFF]),
        ("enum32", [0xFFFF, 0xFFFF]),
        ("bitfield32", [0xFFFF, 0xFFFF]),
        ("acc16", [0]),
        ("acc32", [0, 0]),
        ("acc64", [0, 0, 0, 0]),
        ("int64", [0x8000, 0, 0, 0]),
        ("uint64", [0xFFFF] * 4),
        ("float32", [0x7FC0, 0]),
        ("float64", [0x7FF8, 0, 0, 0]),
        ("sunssf", [0x8000]),
    ],
)
def test_what_is_not_implemented_is_missing(kind: str, words: list[int]) -> None:
    point = Point("x", kind, 2, len(words), None, {})
    assert value(Model(9, 0, (9, len(words), *words)), point) is None
    # One more than the mark is a number.
    assert value(Model(9, 0, (9, len(words), *words[:-1], words[-1] ^ 1)), point) is not None or (
        kind.startswith("float")
    )


def test_a_text_of_nothing_but_zeros_is_not_implemented() -> None:
    common = model(COMMON, 40002)
    laid = points(common)
    assert text(common, laid["Mn"]) == "Clay"
    assert text(common, laid["Opt"]) == ""
    assert value(common, laid["Mn"]) is None


def test_a_text_that_is_none_does_no_harm() -> None:
    words = list(COMMON)
    words[2:5] = [0x41FF, 0x0A42, 0x0000]
    assert text(model(words), points(model(words))["Mn"]) == "A�B"


def test_a_scale_that_is_not_implemented_leaves_no_value() -> None:
    # CV-24: the choice is ours, and the safer one. pysunspec2 leaves the number as it is.
    found = model(changed(802, V_SF=0x8000))
    point = points(found)["V"]
    assert value(found, point) is None
    assert not is_scaled(found, point)
    assert is_scaled(found, points(found)["A"])
    assert is_scaled(found, points(found)["ChaSt"])


def test_what_the_available_energy_rests_on() -> None:
    # CV-27, from the definition's text: WHAvail = WHRtg x SoC x SoH = 16080 x 0.61 x 0.989.
    found = model(image(713))
    laid = points(found)
    rated, available, soc, soh = (
        value(found, laid[name]) for name in ("WHRtg", "WHAvail", "SoC", "SoH")
    )
    assert rated is not None
    assert available is not None
    assert soc is not None
    assert soh is not None
    assert math.isclose(available, rated * soc * soh / 1e4, abs_tol=1)


def test_words_for_the_charge_status() -> None:
    # CV-29b: SunSpec's definition files.
    symbols = points(model(image(802)))["ChaSt"].symbols
    assert symbols == {
        1: "OFF",
        2: "EMPTY",
        3: "DISCHARGING",
        4: "CHARGING",
        5: "FULL",
        6: "HOLDING",
        7: "TESTING",
    }
    assert points(model(image(802)))["Typ"].symbols[4] == "LITHIUM_ION"


def test_models_that_nobody_defined() -> None:
    assert definition(65000) is None
    assert points(Model(65000, 0, (65000, 1, 5))) == {}
    assert label(65000) == "unknown model"
    assert label(802) == "Battery Base Model"


def test_an_older_edition_of_a_model_ends_sooner() -> None:
    short = Model(802, 0, (802, 10, *image(802)[2:12]))
    assert list(points(short))[-1] == "SoC"


@given(st.lists(st.integers(0, 0xFFFF), min_size=62, max_size=62))
@settings(derandomize=True, deadline=None, max_examples=60)
def test_any_words_read_as_pysunspec2_reads_them(words: list[int]) -> None:
    whole = (802, 62, *words)
    data = b"".join(word.to_bytes(2, "big") for word in whole)
    witness = WitnessModel(802, data=data)
    found = Model(802, 0, whole)
    for name, point in points(found).items():
        raw = witness.points[name].value
        scale = (
            None
            if point.scale_offset is None
            else sunspec2.mb.data_to_s16(whole[point.scale_offset].to_bytes(2, "big"))
        )
        expected = raw
        if raw is not None and scale is not None:
            expected = raw * 10.0**scale if -10 <= scale <= 10 else None
        got = value(found, point)
        if expected is None:
            assert got is None, name
        else:
            assert got is not None
            assert math.isclose(got, expected, rel_tol=1e-12), name


def test_the_simulators_models_read_as_pysunspec2_reads_them() -> None:
    words = model_words(714, {"Prt[2].DCW": -500, "DCW_SF": 0, "Prt[2].DCWhAbs": 123456}, NPrt=2)
    data = b"".join(word.to_bytes(2, "big") for word in words)
    witness = WitnessModel(714, data=data)
    assert witness.groups["Prt"][1].points["DCW"].cvalue == -500
    assert witness.groups["Prt"][1].points["DCWhAbs"].value == 123456
    assert witness.groups["Prt"][0].points["DCW"].value is None
