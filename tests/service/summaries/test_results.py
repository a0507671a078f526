import zlib
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from joulebook.storage.days import save_day
from joulebook.summaries.recompute import recompute
from joulebook.summaries.results import day_results_of, decoded, encoded, json_of
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


def test_a_result_of_the_first_versions_is_its_json() -> None:
    # They stored it without compressing it.
    assert json_of(b'{"date":"2026-03-01"}') == b'{"date":"2026-03-01"}'
    assert json_of(zlib.compress(b"{}")) == b"{}"
