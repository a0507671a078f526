import zlib
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest

from joulebook.core.daily.days import METHOD
from joulebook.storage.days import dirty_days, save_day
from joulebook.summaries.recompute import recompute
from joulebook.summaries.results import day_results_of, decoded, encoded, mark_outdated
from tests.helpers.stored_plants import FIRST, LAST, plant_studio


def test_results_come_back_in_order_and_whole(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    recompute(database, site, clock_ms=lambda: 0)
    found = day_results_of(database, site, FIRST, LAST)
    assert [result.date.day for result in found] == [3, 4, 5]
    assert [decoded(encoded(result)) for result in found] == found
    assert day_results_of(database, site, LAST, LAST) == found[-1:]
    # 2 and 6 June lie within five minutes of readings, but have none of their own.
    assert day_results_of(database, site, None, None) == found
    database.close()


def test_results_of_an_earlier_method_are_left_out(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    recompute(database, site, clock_ms=lambda: 0)
    with closing(database.connect()) as connection:
        save_day(connection, site.id, FIRST, "day-0", b"{}", None, 0)
    assert [each.date for each in day_results_of(database, site, FIRST, FIRST)] == []
    database.close()


@pytest.mark.parametrize("stored", [b"{}", zlib.compress(b"{}"), zlib.compress(b"{}")[:-5]])
def test_what_is_no_result_is_refused(stored: bytes) -> None:
    with pytest.raises(msgspec.DecodeError):
        decoded(stored)


def test_what_an_earlier_version_stored_or_a_disk_damaged_is_computed_anew(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    recompute(database, site, clock_ms=lambda: 0)
    with closing(database.connect()) as connection:
        mark_outdated(database, connection)
        assert dirty_days(connection) == []
        # Not compressed, as the first versions did; another method; bytes that are nothing.
        days = [FIRST, FIRST + timedelta(days=1), LAST]
        for day, method, result in zip(
            days, (METHOD, "day-0", METHOD), (b"{}", zlib.compress(b"{}"), b"\x00"), strict=True
        ):
            save_day(connection, site.id, day, method, result, None, 0)
        mark_outdated(database, connection)
        assert sorted(each.day for each in dirty_days(connection)) == days
    database.close()
