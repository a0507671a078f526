"""What somebody can change before the checker notices, by ``python -m tests.measure_checker``.

The record is a year of 200 Ah, drawn to 10 % every night: the flat part of the curve has begun
there, and the capacity is less sure than that of most homes.
"""

from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

import joulebook.evidence
from tests.helpers.evidence_files import Unpacked
from tests.helpers.forged_evidence import PUSHES, Forged, Push
from tests.measure_checker import (
    checker_in,
    hurried,
    main,
    measure,
    own_half,
    smallest,
    status,
    table,
)

OWN = Path(joulebook.evidence.__path__[0])
BY_NAME = {push.name: push for push in PUSHES}


@pytest.fixture(scope="module")
def checker() -> Iterator[ModuleType]:
    own = checker_in(OWN)
    with hurried(own):
        yield own


@pytest.fixture
def forged(whole: Unpacked, tmp_path: Path) -> Forged:
    return Forged(whole.folder, tmp_path / "forged")


def test_an_untouched_copy_agrees(forged: Forged, checker: ModuleType) -> None:
    assert status(checker, forged.folder)[0] == 0


# The sizes are in the push's own unit: per cent, points, mV, mA, per cent of the nights.
@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("capacity, with its interval", 0.3),
        ("capacity, alone", 0.01),
        ("capacity, interval widened over it", 0.3),
        ("loss a year, with its interval", 0.15),
        ("loss a year, alone", 0.01),
        ("loss a year, interval widened over it", 0.15),
        ("round trip, with its interval", 0.05),
        ("round trip, alone", 0.01),
        ("round trip, interval widened over it", 0.05),
        ("full cycles, with its interval", 0.15),
        ("full cycles, alone", 0.15),
        ("full cycles, interval widened over it", 0.15),
        ("one night's capacity", 0.2),
        ("all nights and the capacity", 0.3),
        ("all rest voltages and the capacity", 0.5),
        ("voltmeter's zero, nights, capacity", 3.0),
        ("sensor's offset, nights, capacity", 30.0),
        ("analysed currents and all from them", 0.3),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_pushed_number_is_noticed(
    forged: Forged, checker: ModuleType, name: str, size: float, sign: int
) -> None:
    BY_NAME[name].apply(forged, size, sign)
    found, said = status(checker, forged.folder)
    assert (found, "WRONG" in said) == (1, True)


def test_an_hour_too_many_above_35_degrees_is_noticed(forged: Forged, checker: ModuleType) -> None:
    BY_NAME["hours above 35 °C, with its interval"].apply(forged, 1.0, 1)
    assert "WRONG  Hours above 35 °C" in status(checker, forged.folder)[1]


def test_a_night_that_is_kept_from_counting_is_noticed(
    whole: Unpacked, forged: Forged, checker: ModuleType
) -> None:
    BY_NAME["nights that do not count"].apply(forged, 0.1, 1)
    assert re_nights(status(checker, forged.folder)[1]) == "WRONG"
    forged.restore()
    assert (forged.folder / "nights.csv").resolve() == whole.folder / "nights.csv"


def test_a_hundredth_of_the_nights_taken_out_of_the_list_is_noticed(
    forged: Forged, checker: ModuleType
) -> None:
    BY_NAME["nights taken out of the list"].apply(forged, 1.0, 1)
    said = status(checker, forged.folder)[1]
    # A hundredth of 369 nights that tell.
    assert "WRONG  nights: 370 times full by the readings, 366 in the list; 4 differ" in said


def re_nights(said: str) -> str:
    [line] = [line for line in said.splitlines() if "as listed" in line]
    return line[:5]


def test_a_bent_curve_is_noticed(forged: Forged, checker: ModuleType) -> None:
    head, *lines = (forged.true / "curve.csv").read_text(encoding="utf-8").splitlines()
    bent = [f"{x},{float(v) + 0.003}" for x, v in (line.split(",") for line in lines)]
    forged.write("curve.csv", "\n".join([head, *bent]) + "\n")
    assert "WRONG  curve" in status(checker, forged.folder)[1]


def test_the_smallest_push_is_found_between_two(forged: Forged, checker: ModuleType) -> None:
    asked = Push("any", "%", lambda file, size, _: file.move("efc", 9.9 * (size > 3)), "efc")
    # 9.9 cycles of 330 are noticed, and none are not.
    assert smallest(checker, forged, asked, 1) == pytest.approx(3.0, rel=0.1)
    never = Push("any", "h", lambda file, _size, _sign: file.restore(), "efc")
    assert smallest(checker, forged, never, 1) is None


def test_the_measurement_tells_true_files_and_the_smallest_pushes(whole: Unpacked) -> None:
    said: list[str] = []
    one = [BY_NAME["loss a year, alone"], BY_NAME["hours above 45 °C, alone"]]
    assert measure([whole.folder], checker_in(OWN), pushed=1, say=said.append, pushes=one) == 0
    assert said[:2] == ["file: all of it agrees", "true files called wrong: 0 of 1"]
    # No hour above 45 °C is stated, so that cannot be pushed by its share.
    assert [line.split("|")[1].strip() for line in said[4:]] == ["loss a year, alone, points"]


def test_half_of_an_interval_is_told_in_the_unit_of_the_push(forged: Forged) -> None:
    stated = forged.results["headline"]["capacity_ah"]
    by_hand = 100 * (stated["high"] / stated["value"] - 1)
    assert own_half(forged, BY_NAME["capacity, alone"]) == pytest.approx(by_hand)
    assert own_half(forged, BY_NAME["voltmeter's zero, nights, capacity"]) is None


def test_a_table_has_empty_cells_where_nothing_was_noticed() -> None:
    lines = list(table({"any, mV": [(None, None), (None, None)]}))
    assert lines[2:] == ["| any, mV |  |  | 2 of 2 |  |"]


@pytest.mark.parametrize(
    "drawn",
    [
        [],
        ["--kinds", "twice-a-day", "--event", "sensor", "--missing", "0.02", "--hotter", "5"],
    ],
)
def test_the_command_simulates_homes(drawn: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--homes", "1", "--pushed", "0", "--years", "0.1"]
    assert main([*asked, *drawn]) == 0
    assert "true files called wrong: 0 of 1" in capsys.readouterr().out


def test_the_command_takes_files_and_says_which_is_wrong(
    forged: Forged, capsys: pytest.CaptureFixture[str]
) -> None:
    forged.move("efc", 50.0, ends=1.0)
    asked = ["--files", str(forged.folder), "--checker", str(OWN), "--pushed", "0"]
    assert main(asked) == 1
    said = capsys.readouterr().out
    assert "WRONG    results.json is missing or was changed" in said
    assert "true files called wrong: 1 of 1" in said
    assert "  1 by Full cycles, equivalent" in said
