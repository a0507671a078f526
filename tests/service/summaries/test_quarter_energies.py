from contextlib import closing
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.corrections import Correction
from joulebook.core.spans import Span, days_span, local_day
from joulebook.storage.catalogue import add_site
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site
from joulebook.summaries.quarter_energies import QuarterEnergies, quarter_energies
from joulebook.summaries.recompute import recompute
from joulebook.summaries.results import day_results_of
from tests.helpers.databases import write
from tests.helpers.priced_studio import FIRST, LAST, MINUTE_MS, NOW_MS, priced_studio

DAYS = 8


def energies(database: Database, site: Site) -> QuarterEnergies:
    return quarter_energies(database, site, days_span(FIRST, LAST, site.zone))


def correct(database: Database, site: Site, wanted: Correction) -> None:
    with closing(database.connect()) as connection:
        add_correction(connection, site, wanted)
    recompute(database, site, clock_ms=lambda: NOW_MS)


def test_energies_by_hand(priced: tuple[Database, Site]) -> None:
    database, site = priced
    found = energies(database, site)
    grid, energy = found.energy.grid, found.energy
    assert grid is not None
    # 500 W for 6 h bought and 400 W for 4 h sold, on each of eight days; the line of a minute
    # over a step counts half of it on either side.
    assert grid.import_wh.sum() == pytest.approx(DAYS * 3000, rel=0.002)
    assert grid.export_wh.sum() == pytest.approx(DAYS * 1600, rel=0.004)
    assert grid.measured_ratio.mean() == pytest.approx(1.0, abs=1e-3)
    for line, kwh in ((energy.pv, 16.0), (energy.load, 24.0), (energy.battery, -7.8)):
        assert line is not None
        assert line.energy_wh().sum() == pytest.approx(DAYS * kwh * 1000, rel=0.005)


def test_days_add_up_to_their_results(priced: tuple[Database, Site]) -> None:
    database, site = priced
    found = energies(database, site)
    assert found.energy.grid is not None
    whole = [
        result.numbers["grid_import_wh"].value for result in day_results_of(database, site, *_BOTH)
    ]
    by_day = np.bincount(found.day - found.day[0], found.energy.grid.import_wh)
    assert by_day.tolist() == pytest.approx(whole, rel=1e-4)
    assert not found.energy.grid.unsure_wh.any()


_BOTH = (FIRST, LAST)


def test_a_part_is_cut_out_by_its_span(priced: tuple[Database, Site]) -> None:
    database, site = priced
    day = local_day(date(2026, 6, 5), site.zone)
    part = energies(database, site).within(day)
    assert part.start_ms.size == 96
    assert (part.start_ms[0], part.energy.grid is not None) == (day.start_ms, True)
    assert part.energy.grid is not None
    assert part.energy.grid.import_wh.sum() == pytest.approx(3000, rel=0.002)


def test_devices_that_are_not_there_are_none(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, "grid", "pv", "battery")
    found = energies(database, site).within(local_day(FIRST, site.zone))
    assert (found.energy.grid, found.energy.pv, found.energy.battery) == (None, None, None)
    assert found.energy.load is not None


def test_no_time_has_no_energies(priced: tuple[Database, Site]) -> None:
    database, site = priced
    found = quarter_energies(database, site, Span(0, 0))
    assert found.start_ms.size == 0
    assert found.energy.grid is not None
    assert found.energy.grid.import_wh.size == 0


def test_corrections_change_means_as_they_change_readings(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path)
    day = local_day(FIRST, site.zone)
    # From 6:07 on the first day the clamp of the grid was the wrong way round.
    turned = Correction(
        id=0,
        device="grid",
        quantity="power",
        kind="sign",
        from_ms=day.start_ms + 367 * MINUTE_MS,
        to_ms=day.end_ms,
        made_ms=1,
    )
    correct(database, site, turned)
    found = energies(database, site).within(day)
    assert found.energy.grid is not None
    # What was sold was bought; the quarter hour in which it began is not known.
    assert found.energy.grid.import_wh.sum() == pytest.approx(4600, rel=0.004)
    assert found.energy.grid.export_wh.sum() == pytest.approx(0.0, abs=5.0)
    measured = found.energy.grid.measured_ratio
    assert np.flatnonzero(measured == 0).tolist() == [24]


def test_what_is_excluded_is_not_measured(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path)
    day = local_day(FIRST, site.zone)
    out = Correction(
        id=0,
        device="load",
        quantity="power",
        kind="exclude",
        from_ms=day.start_ms,
        to_ms=day.end_ms,
        made_ms=1,
    )
    correct(database, site, out)
    found = energies(database, site).within(day)
    assert found.energy.load is not None
    assert not found.energy.load.measured_ratio.any()
    assert found.energy.load.energy_wh().sum() == 0.0


def _metered(
    data_dir: Path, devices: dict[str, dict[str, float]]
) -> tuple[Database, Site, QuarterEnergies]:
    """Return an hour in which devices report the same all the time."""
    database = Database.open(data_dir)
    site = add_site(database, "studio", "Europe/Lisbon")
    span = local_day(FIRST, site.zone)
    with closing(database.connect()) as connection:
        for device, values in devices.items():
            rows = {span.start_ms + minute * MINUTE_MS: dict(values) for minute in range(61)}
            units = {"voltage": "V", "current": "A"}
            columns = [Column(name, units.get(name, "W")) for name in values]
            write(connection, site, device, rows, columns)
    hour = Span(span.start_ms, span.start_ms + 60 * MINUTE_MS)
    return database, site, quarter_energies(database, site, hour)


def test_several_devices_are_added_up(tmp_path: Path) -> None:
    _, _, found = _metered(
        tmp_path, {"pv": {"power": 300.0}, "pv-2": {"voltage": 100.0, "current": 5.0}}
    )
    assert found.energy.pv is not None
    assert found.energy.pv.energy_wh().tolist() == pytest.approx([200.0] * 4)


def test_both_legs_are_added_up(tmp_path: Path) -> None:
    _, _, found = _metered(tmp_path, {"load": {"power_l1": 300.0, "power_l2": 100.0}})
    assert found.energy.load is not None
    assert found.energy.load.energy_wh().tolist() == pytest.approx([100.0] * 4)


def test_a_device_that_gives_no_power_is_not_measured(tmp_path: Path) -> None:
    _, _, found = _metered(tmp_path, {"grid": {"voltage": 230.0}})
    assert found.energy.grid is not None
    assert found.energy.grid.measured_ratio.tolist() == [0.0] * 4


def test_a_load_below_zero_is_not_believed(tmp_path: Path) -> None:
    _, _, found = _metered(tmp_path, {"load": {"power": -400.0}})
    assert found.energy.load is not None
    assert found.energy.load.measured_ratio.tolist() == [0.0] * 4


def test_days_without_a_result_leave_what_ran_both_ways_unsure(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Europe/Lisbon")
    span = local_day(FIRST, site.zone)
    with closing(database.connect()) as connection:
        rows = {
            span.start_ms + minute * MINUTE_MS: {"power": 600.0 if minute % 2 else -600.0}
            for minute in range(61)
        }
        write(connection, site, "grid", rows)
    hour = Span(span.start_ms, span.start_ms + 60 * MINUTE_MS)
    found = quarter_energies(database, site, hour).energy.grid
    assert found is not None
    # By hand: between -600 and 600 W at a mean of 0, at most 300 W run either way: 75 Wh.
    assert found.unsure_wh.tolist() == pytest.approx([37.5] * 4, rel=0.1)
