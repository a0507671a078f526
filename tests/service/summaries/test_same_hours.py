"""Days compared from readings: what a day is made of is what it is compared with."""

from collections.abc import Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest

from joulebook.core.corrections import Correction
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Connection
from joulebook.summaries.reports import day_results_of
from joulebook.summaries.same_hours import powers_of_day, shared_days
from tests.helpers.pages import HOUR_MS, NOW_MS, Studio, measured_studio

#: See the helper: nothing from 06:00 to 12:00 on Tuesday 3 March.
_TUESDAY, _BEFORE = date(2026, 3, 3), date(2026, 2, 24)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return measured_studio(tmp_path_factory.mktemp("studio"))


@pytest.fixture
def connection(studio: Studio) -> Iterator[Connection]:
    with closing(studio.database.connect()) as connection:
        yield connection


def test_a_gap_of_one_day_is_left_out_of_both(studio: Studio, connection: Connection) -> None:
    # By hand: the last reading before the gap is that of 05:55, the first after it that of 12:00:
    # 24 h less 6 h 5 min are 17.917 h at 1.5, 1.0 and 0.1 kW.
    shared = shared_days(connection, studio.site, _TUESDAY, _BEFORE, max_gap_s=300.0)
    for name, watts in (("pv_wh", 1500), ("load_wh", 1000), ("loss_wh", 100)):
        assert shared[name].here_wh == pytest.approx(watts * (24 - 6 - 1 / 12))
        assert shared[name].there_wh == pytest.approx(shared[name].here_wh)
        assert shared[name].both_ms == (24 - 6) * HOUR_MS - HOUR_MS // 12
    # Whole, that other day has 36 kWh.
    [whole] = day_results_of(studio.database, studio.site, _BEFORE, _BEFORE)
    assert whole.numbers["pv_wh"].value == pytest.approx(36_000)


def test_nothing_is_shared_with_a_day_before_the_first(
    studio: Studio, connection: Connection
) -> None:
    shared = shared_days(
        connection, studio.site, _BEFORE, _BEFORE - timedelta(days=28), max_gap_s=300.0
    )
    assert {each.both_ms for each in shared.values()} == {0}


def test_a_correction_counts_as_it_does_in_the_day(tmp_path: Path) -> None:
    studio = measured_studio(tmp_path)
    doubled = Correction(
        id=0, device="load", quantity="power", kind="scale", value=2.0, made_ms=NOW_MS
    )
    with closing(studio.database.connect()) as connection:
        add_correction(connection, studio.site, doubled)
        powers = powers_of_day(connection, studio.site, _BEFORE, max_gap_s=300.0)
    load = powers["load"]
    assert load is not None
    assert set(load.value.tolist()) == {2000.0}
