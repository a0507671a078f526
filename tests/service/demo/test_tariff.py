from contextlib import closing
from datetime import date
from pathlib import Path

from joulebook.core.money.tariff_checks import check_tariff
from joulebook.demo.tariff import TARIFF, enter_tariff
from joulebook.storage.tariffs import tariffs_of
from tests.helpers.databases import studio


def test_the_studios_tariff_is_whole() -> None:
    check_tariff(TARIFF)
    afternoon, *_ = TARIFF.season_of(date(2026, 7, 14)).bands
    assert afternoon.minutes() == [range(840, 1200)]


def test_it_holds_from_the_day_on_which_the_history_begins(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    enter_tariff(database, site, date(2025, 9, 25), now_ms=7)
    with closing(database.connect()) as connection:
        [version] = tariffs_of(connection, site.id)
    assert (version.tariff.from_day, version.made_ms) == (date(2025, 9, 25), 7)
    assert version.tariff.seasons == TARIFF.seasons
