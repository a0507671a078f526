import logging
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest

from joulebook.core.days import DayInputs, DayResult, compute_day
from joulebook.summaries import stretches as module
from joulebook.summaries.stretches import Failed, compute_stretch, stretches
from tests.helpers.plants import day_inputs
from tests.helpers.stored_plants import FIRST, LAST, plant_studio

DAYS = [FIRST, FIRST + timedelta(days=1), LAST]


def test_days_are_cut_where_one_is_not_the_next() -> None:
    days = [date(2026, 3, 3), date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 5)]
    assert stretches(days) == [
        [date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 3)],
        [date(2026, 3, 5)],
    ]
    assert stretches([]) == []


def test_a_stretch_is_a_month_at_most() -> None:
    days = [date(2026, 1, 1) + timedelta(days=offset) for offset in range(100)]
    assert [len(part) for part in stretches(days)] == [31, 31, 31, 7]


def test_stored_days_are_those_computed_from_the_plant_itself(tmp_path: Path) -> None:
    database, site, plant = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        found = list(compute_stretch(connection, site, DAYS, max_gap_s=300.0))
    middle = compute_day(day_inputs(DAYS[1], site, plant.arrays(), plant.series))
    assert found[1] == middle
    database.close()


def test_text_takes_no_part(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        connection.execute("UPDATE series SET kind = 'text' WHERE quantity = 'temperature'")
        found = list(compute_stretch(connection, site, DAYS[:1], max_gap_s=300.0))
    assert isinstance(found[0], DayResult)
    assert found[0].numbers["battery_temperature_max_c"].value is None
    database.close()


def test_a_day_that_fails_does_not_stop_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    database, site, _ = plant_studio(tmp_path)

    def picky(inputs: DayInputs) -> DayResult:
        if inputs.day == DAYS[1]:
            raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(module, "compute_day", picky)
    with closing(database.connect()) as connection, caplog.at_level(logging.ERROR):
        found = list(compute_stretch(connection, site, DAYS, max_gap_s=300.0))
    assert found[1] == Failed(DAYS[1], "ArithmeticError: cannot add up")
    assert [type(each) for each in found] == [DayResult, Failed, DayResult]
    assert "2026-06-04 of site studio could not be computed" in caplog.text
    database.close()
