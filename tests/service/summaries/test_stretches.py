import logging
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.corrections import Correction
from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.core.spans import local_day
from joulebook.storage.corrections import add_correction
from joulebook.storage.reading import read_device
from joulebook.storage.sealing import seal
from joulebook.summaries import stretches as module
from joulebook.summaries.stretches import Failed, compute_stretch, stretches
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.plants import day_inputs
from tests.helpers.stored_plants import FIRST, LAST, plant_studio, store

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


@pytest.mark.parametrize("weeks_late_days", [5, 60], ids=["days sealed", "weeks sealed"])
def test_sealed_days_are_those_that_were_hot(tmp_path: Path, weeks_late_days: int) -> None:
    # Chicago's midnight is not UTC's: the readings of a local day lie in two blocks or more.
    database, site, _ = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        hot = list(compute_stretch(connection, site, DAYS, max_gap_s=300.0))
        end_ms = local_day(LAST, site.zone).end_ms
        assert seal(connection, end_ms + weeks_late_days * 86_400_000).blocks > 0
        assert connection.execute("SELECT count(*) FROM readings").fetchone() == (0,)
        assert list(compute_stretch(connection, site, DAYS, max_gap_s=300.0)) == hot
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


def test_days_are_computed_of_corrected_readings_and_only_inside_the_correction_s_span(
    tmp_path: Path,
) -> None:
    database, site, plant = plant_studio(tmp_path)
    # The clamp of the load was the wrong way round for the first day and a half.
    noon_ms = local_day(DAYS[1], site.zone).start_ms + 43_200_000
    turned = np.where(plant.at_ms < noon_ms, -1.0, 1.0)
    devices = plant.devices
    backwards = {name: value * turned for name, value in devices["load"].items()}
    store(database, site, replace(plant, devices={**devices, "load": backwards}))
    with closing(database.connect()) as connection:
        before = list(compute_stretch(connection, site, DAYS, max_gap_s=300.0))
        for quantity in backwards:
            correction = Correction(
                id=0, device="load", quantity=quantity, kind="sign", to_ms=noon_ms, made_ms=1
            )
            add_correction(connection, site, correction)
        after = list(compute_stretch(connection, site, DAYS, max_gap_s=300.0))
        stored = read_device(connection, site.id, "load", local_day(DAYS[0], site.zone))
    database.close()
    first = before[0]
    assert isinstance(first, DayResult)
    assert first.numbers["load_wh"].value is None
    assert after[1] == compute_day(day_inputs(DAYS[1], site, plant.arrays(), plant.series))
    assert after[2] == before[2]
    # The readings themselves are as they came.
    assert (stored.values["power"] < 0).all()


def test_what_a_site_gets_later_leaves_earlier_days_as_they_were(tmp_path: Path) -> None:
    # Panels and a battery that are set up in June: in May there was nothing to be measured.
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        times = range(NOON_MS, NOON_MS + 86_400_000, 60_000)
        for device in ("grid", "load"):
            write(connection, site, device, {at_ms: {"power": 400.0} for at_ms in times})
        days = [date(2026, 3, 1), date(2026, 3, 2)]
        before = list(compute_stretch(connection, site, days, max_gap_s=300.0))
        later = [at_ms + 90 * 86_400_000 for at_ms in times]
        for device in ("pv", "battery"):
            write(connection, site, device, {at_ms: {"power": 100.0} for at_ms in later})
        after = list(compute_stretch(connection, site, days, max_gap_s=300.0))
        assert after == before
        assert seal(connection, later[-1] + 60 * 86_400_000).blocks > 0
        assert list(compute_stretch(connection, site, days, max_gap_s=300.0)) == before
        # On a day after their first reading on which they are silent, they are not known.
        silent = [date(2026, 6, 20)]
        (day,) = compute_stretch(connection, site, silent, max_gap_s=300.0)
        assert isinstance(day, DayResult)
        assert day.numbers["battery_charge_wh"].reason == (
            "no battery readings close enough together on this day"
        )
    assert isinstance(before[0], DayResult)
    assert before[0].numbers["battery_charge_wh"].reason == "the site has no battery device"
    database.close()
