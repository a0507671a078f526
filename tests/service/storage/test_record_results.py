from datetime import date

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import clear_results, mark_days
from joulebook.storage.record_results import (
    RecordResult,
    record_mark,
    record_result,
    save_record_result,
)
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, write


def saved(connection: Connection, site: Site, result: bytes, mark: int) -> RecordResult | None:
    save_record_result(
        *(connection, site.id, "capacity", "capacity-1", result), mark=mark, computed_ms=7
    )
    return record_result(connection, site.id, "capacity")


def test_a_result_is_kept_with_its_method_and_mark(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    assert record_result(connection, site.id, "capacity") is None
    assert saved(connection, site, b"\x00" * 100_000, 0) == RecordResult(
        name="capacity",
        method="capacity-1",
        mark=0,
        computed_ms=7,
        result=b"\x00" * 100_000,
        behind=False,
    )
    assert record_result(connection, site.id, "fade") is None
    assert record_result(connection, annexe.id, "capacity") is None


def test_it_is_behind_once_a_day_is_marked(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    mark = record_mark(connection, site.id)
    result = saved(connection, site, b"old", mark)
    assert result is not None
    assert not result.behind
    for again in (
        lambda: mark_days(connection, site.id, [date(2026, 3, 1)]),
        lambda: write(connection, site, "battery", {NOON_MS + 1: {"power": 1.0}}),
        lambda: clear_results(connection, site.id),
    ):
        again()
        result = record_result(connection, site.id, "capacity")
        assert result is not None
        assert result.behind
        result = saved(connection, site, b"new", record_mark(connection, site.id))
        assert result is not None
        assert not result.behind


def test_a_mark_is_of_one_site_and_never_comes_twice(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    marks = []
    for one in (site, annexe, site, annexe):
        mark_days(connection, one.id, [date(2026, 3, 1)])
        marks.append(record_mark(connection, one.id))
    assert marks == sorted(set(marks))
    assert record_mark(connection, site.id) == marks[2]


def test_of_two_that_analyse_at_once_the_one_that_saw_more_wins(
    connection: Connection, site: Site
) -> None:
    saved(connection, site, b"of all", 5)
    result = saved(connection, site, b"of less", 4)
    assert result is not None
    assert (result.result, result.mark) == (b"of all", 5)
    result = saved(connection, site, b"by a newer method", 5)
    assert result is not None
    assert result.result == b"by a newer method"
