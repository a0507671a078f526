from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.homes.numbers import Measured, Numbers, Outlook, home_numbers
from tests.helpers.analysed_sites import long_studio
from tests.helpers.databases import studio
from tests.helpers.told_homes import entered_home, keep_record, record


def of(database: Database, site: Site, document: dict[str, object] | None) -> Numbers:
    with closing(database.connect()) as connection:
        if document is not None:
            keep_record(connection, site, document)
        return home_numbers(connection, site)


def test_an_analysis_is_told_as_shares_of_what_is_rated(tmp_path: Path) -> None:
    database, _ = studio(tmp_path)
    found = of(database, entered_home(database, "kiln"), record())
    age_years = 730 / 365.25
    # By hand: 186 of 200 Ah, 182 to 190; from 1 March 2024 to 1 March 2026 are 730 days.
    assert found == Numbers(
        capacity=Measured(value=0.93, low=0.91, high=0.95),
        fade=Measured(value=0.03, low=0.02, high=0.04),
        heat=0.9,
        cycles=220.0,
        age_years=age_years,
        outlook=Outlook(
            ends="2034-03-01",
            floor_ratio=0.7,
            assumed=False,
            expected=0.75,
            low=0.68,
            high=0.81,
            chance=0.9,
            floor_reached="beyond",
        ),
        first="2024-03-01",
        last="2026-03-01",
    )


def test_an_age_that_nobody_entered_is_not_known(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    assert of(database, site, record()).age_years is None


def test_what_is_not_measured_says_why(tmp_path: Path) -> None:
    database, _ = studio(tmp_path)
    none = {"efc": float("nan"), "thermal_years": None}
    forecast = {**record()["forecast"], "floor_reached": None, "reason": "too early"}
    document = record(None, through={"per_year": none}, forecast=forecast)
    found = of(database, entered_home(database, "kiln"), document)
    assert found.capacity == Measured(reason="never low")
    assert (found.heat, found.cycles) == (None, None)
    assert found.outlook is not None
    assert (found.outlook.floor_reached, found.outlook.reason) == (None, "too early")


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        (None, "the whole record has not been analysed yet; the service does so by itself"),
        ({"entered": "", "reason": "no battery is measured"}, "no battery is measured"),
    ],
)
def test_a_home_without_an_analysis_says_why(
    tmp_path: Path, document: dict[str, object] | None, reason: str
) -> None:
    database, site = studio(tmp_path)
    why = Measured(reason=reason)
    assert of(database, site, document) == Numbers(capacity=why, fade=why)


def test_a_real_analysis_has_all_that_is_read_of_it(tmp_path: Path) -> None:
    home = long_studio(tmp_path)
    found = of(home.database, home.site, None)
    # The pack of the simulation: 204 Ah rated 200, of which 2 % a year are lost.
    assert found.capacity.value == pytest.approx(1.0, abs=0.03)
    assert found.fade.value == pytest.approx(0.02, abs=0.015)
    assert found.heat is not None
    assert found.cycles is not None
    assert found.age_years is not None
    assert found.outlook is not None
    assert found.outlook.ends == "2035-12-20"
