from datetime import date

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import (
    clear_results,
    computed_at,
    day_results,
    dirty_count,
    dirty_days,
    mark_days,
    month_stamps,
    save_day,
)
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, undone, write

FIRST, SECOND, THIRD = date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 3)
DAY_MS = 86_400_000


def test_marked_days_are_dirty_the_newest_first(connection: Connection, site: Site) -> None:
    mark_days(connection, site.id, [SECOND, FIRST, THIRD])
    assert [dirty.day for dirty in dirty_days(connection)] == [THIRD, SECOND, FIRST]
    assert [dirty.day for dirty in dirty_days(connection, limit=2)] == [THIRD, SECOND]
    assert dirty_count(connection) == 3


def test_dirty_days_of_one_site_leave_those_of_others_out(
    database: Database, connection: Connection, site: Site
) -> None:
    other = add_site(database, "annex", "UTC")
    mark_days(connection, site.id, [FIRST, SECOND])
    mark_days(connection, other.id, [THIRD])
    assert [dirty.day for dirty in dirty_days(connection, site_id=site.id)] == [SECOND, FIRST]
    assert [dirty.day for dirty in dirty_days(connection, 1, site_id=site.id)] == [SECOND]
    assert [dirty.day for dirty in dirty_days(connection, site_id=other.id)] == [THIRD]


def test_a_saved_day_is_clean(connection: Connection, site: Site) -> None:
    mark_days(connection, site.id, [FIRST])
    (dirty,) = dirty_days(connection)
    save_day(connection, site.id, FIRST, "day-1", b'{"efc": 0.5}', dirty.mark, 7)
    assert dirty_days(connection) == []
    assert day_results(connection, site.id, None, None) == [(FIRST, "day-1", b'{"efc": 0.5}')]


def test_it_is_known_when_a_result_was_computed(connection: Connection, site: Site) -> None:
    save_day(connection, site.id, FIRST, "day-1", b"one", None, 7)
    save_day(connection, site.id, THIRD, "day-1", b"three", None, 9)
    assert computed_at(connection, site.id, [FIRST, SECOND]) == {FIRST: 7}
    assert computed_at(connection, site.id, []) == {}
    save_day(connection, site.id, FIRST, "day-1", b"anew", None, 11)
    assert computed_at(connection, site.id, [FIRST, THIRD]) == {FIRST: 11, THIRD: 9}


def test_the_stamp_of_a_month_changes_with_its_days(connection: Connection, site: Site) -> None:
    for day, computed_ms in ((date(2026, 2, 28), 5), (FIRST, 7), (SECOND, 9)):
        save_day(connection, site.id, day, "day-1", b"x", None, computed_ms)
    february, march = date(2026, 2, 1), date(2026, 3, 1)
    assert month_stamps(connection, site.id) == {february: (1, 5, 5), march: (2, 9, 16)}
    save_day(connection, site.id, FIRST, "day-1", b"y", None, 8)
    assert month_stamps(connection, site.id)[march] == (2, 9, 17)
    assert month_stamps(connection, site.id)[february] == (1, 5, 5)


def test_a_day_marked_again_while_it_was_computed_stays_dirty(
    connection: Connection, site: Site
) -> None:
    mark_days(connection, site.id, [FIRST])
    (dirty,) = dirty_days(connection)
    mark_days(connection, site.id, [FIRST])
    save_day(connection, site.id, FIRST, "day-1", b"old", dirty.mark, 7)
    (again,) = dirty_days(connection)
    assert (again.day, again.mark > dirty.mark) == (FIRST, True)
    save_day(connection, site.id, FIRST, "day-1", b"new", again.mark, 8)
    assert dirty_count(connection) == 0
    assert day_results(connection, site.id, None, None) == [(FIRST, "day-1", b"new")]


def test_a_day_cleaned_by_one_and_marked_again_stays_dirty_for_the_other(
    connection: Connection, site: Site
) -> None:
    # Two compute the same day: the second must not clear a mark that it never saw.
    mark_days(connection, site.id, [FIRST])
    (seen_by_both,) = dirty_days(connection)
    save_day(connection, site.id, FIRST, "day-1", b"one", seen_by_both.mark, 7)
    mark_days(connection, site.id, [FIRST])
    save_day(connection, site.id, FIRST, "day-1", b"two", seen_by_both.mark, 8)
    assert dirty_count(connection) == 1


def test_without_a_mark_nothing_is_cleared(connection: Connection, site: Site) -> None:
    mark_days(connection, site.id, [FIRST])
    save_day(connection, site.id, FIRST, "day-1", b"{}", None, 7)
    assert dirty_count(connection) == 1


def test_a_result_and_its_mark_are_one(connection: Connection, site: Site) -> None:
    mark_days(connection, site.id, [FIRST])
    (dirty,) = dirty_days(connection)
    with undone(connection):
        save_day(connection, site.id, FIRST, "day-1", b"{}", dirty.mark, 7)
    assert dirty_days(connection) == [dirty]
    assert day_results(connection, site.id, None, None) == []


def test_results_come_in_order_for_the_dates_asked_both_included(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    for day in (THIRD, FIRST, SECOND):
        save_day(connection, site.id, day, "day-1", day.isoformat().encode(), None, 7)
    save_day(connection, annexe.id, FIRST, "day-1", b"theirs", None, 7)

    def days(first: date | None, last: date | None) -> list[date]:
        return [day for day, _, _ in day_results(connection, site.id, first, last)]

    assert days(None, None) == [FIRST, SECOND, THIRD]
    assert days(SECOND, None) == [SECOND, THIRD]
    assert days(None, SECOND) == [FIRST, SECOND]
    assert days(SECOND, SECOND) == [SECOND]
    assert days(date(2027, 1, 1), None) == []


def test_clearing_drops_results_and_marks_every_day_with_readings(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    # 23:58 two days later: concerns that day and the next.
    write(connection, site, "grid", {NOON_MS + 2 * DAY_MS + 43_080_000: {"power": 2.0}})
    write(connection, annexe, "grid", {NOON_MS - 9 * DAY_MS: {"power": 2.0}})
    for dirty in dirty_days(connection):
        save_day(connection, dirty.site_id, dirty.day, "day-1", b"{}", dirty.mark, 7)
    assert dirty_count(connection) == 0

    mark_days(connection, site.id, [date(1999, 1, 1)])  # by mistake: it has no readings
    clear_results(connection, site.id)
    assert day_results(connection, site.id, None, None) == []
    assert len(day_results(connection, annexe.id, None, None)) == 1
    assert [(dirty.site_id, dirty.day) for dirty in dirty_days(connection)] == [
        (site.id, date(2026, 3, 4)),
        (site.id, THIRD),
        (site.id, FIRST),
    ]


def test_clearing_a_site_without_readings_marks_nothing(connection: Connection, site: Site) -> None:
    save_day(connection, site.id, FIRST, "day-1", b"{}", None, 7)
    clear_results(connection, site.id)
    assert day_results(connection, site.id, None, None) == []
    assert dirty_count(connection) == 0


def test_what_was_computed_of_earlier_readings_does_not_replace_a_later_result(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    (slow,) = dirty_days(connection)
    write(connection, site, "battery", {NOON_MS + 1000: {"power": 2.0}})
    (quick,) = dirty_days(connection)
    save_day(connection, site.id, quick.day, "day-1", b"later", quick.mark, 7)
    save_day(connection, site.id, slow.day, "day-1", b"earlier", slow.mark, 8)
    assert day_results(connection, site.id, None, None) == [(quick.day, "day-1", b"later")]
