"""What is left in a battery whose whole record was analysed."""

from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.loads_held import Asked, held_document
from tests.helpers.carried_sites import carried_site, end_ms

#: The parts of a record's analysis that are asked for; round numbers.
RECORD: dict[str, Any] = {
    "energy": {
        "wh": 10_000.0,
        "low_wh": 9_600.0,
        "high_wh": 10_400.0,
        "coverage_ratio": 0.9,
        "method": "pack-energy-1",
    },
    "capacity": {"latest": {"ah": 200.0}},
    "offset": {"at_ms": [0, 1], "offset_a": [0.0, 0.0], "u_a": [0.02, 0.02]},
    "own_draw": {
        "idle_w": {"value": 30.0, "low": 27.0, "high": 33.0},
        "loss_w": {"value": 100.0, "low": 94.0, "high": 106.0},
        "load_w": 1000.0,
    },
}


def held(data_dir: Path, record: dict[str, Any]) -> dict[str, Any]:
    database, site = carried_site(data_dir)
    with closing(database.connect()) as connection:
        readings = LoadReadings(connection, site)
        return held_document(Asked(connection, site, end_ms() + 1, 300.0), readings, record)


def test_measured_energy_and_losses_are_used(tmp_path: Path) -> None:
    found = held(tmp_path, RECORD)
    assert found["usable"] == {
        "wh": 10_000.0,
        "low_wh": 9_600.0,
        "high_wh": 10_400.0,
        "coverage_ratio": 0.9,
        "method": "pack-energy-1",
        "measured": True,
    }
    # By hand: 80 of 200 Ah were drawn, 6 kWh are left. 400 W of load, 30 + 0.07 · 400 = 58 W lost.
    now = found["hours"][0]
    assert found["left"]["ours"]["wh"] == pytest.approx(6000, rel=0.01)
    assert now["drawn_w"]["value"] == pytest.approx(458)
    assert now["value"] == pytest.approx(6000 / 458, rel=0.01)
    assert found["assumptions"] == [
        "without sun and without the grid",
        "the reserve that you set in your equipment is not known here: it can end earlier",
    ]


@pytest.mark.parametrize(
    "draw",
    [
        None,
        {"load_w": None},
        {"load_w": 1000.0, "idle_w": {"value": None}, "loss_w": {"value": 100.0}},
    ],
)
def test_an_inverter_that_was_not_measured_is_assumed(
    tmp_path: Path, draw: dict[str, Any] | None
) -> None:
    found = held(tmp_path, RECORD | {"own_draw": draw})
    assert found["hours"][0]["drawn_w"]["value"] == pytest.approx(400 / 0.9)
    assert found["assumptions"][-1] == (
        "what the inverter takes was not measured: 80% to 95% comes out"
    )


def test_a_capacity_that_was_refused_leaves_the_rated_energy(tmp_path: Path) -> None:
    unmeasured = RECORD | {"energy": RECORD["energy"] | {"wh": None}}
    assert held(tmp_path, unmeasured)["usable"]["measured"] is False
