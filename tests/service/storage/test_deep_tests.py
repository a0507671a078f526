from dataclasses import replace
from functools import partial

import pytest

from joulebook.core.battery.deep_test_plan import target_of
from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.deep_tests import DeepTest, deep_tests_of, end_test, plan_test, start_test
from joulebook.storage.records import Site
from tests.helpers.databases import undone

TARGET = target_of(200.0, 16)


def planned(connection: Connection, site: Site, planned_ms: int = 5) -> DeepTest:
    return plan_test(connection, site, TARGET, note="Before winter", planned_ms=planned_ms)


def test_a_test_is_planned_begun_and_ended(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    plan = planned(connection, site)
    assert plan == DeepTest(id=plan.id, planned_ms=5, target=TARGET, note="Before winter")
    assert deep_tests_of(connection, site.id) == [plan]
    begun = start_test(connection, site, started_ms=7)
    assert deep_tests_of(connection, site.id) == [begun] == [replace(plan, started_ms=7)]
    ended = end_test(connection, site, ended_ms=9)
    assert deep_tests_of(connection, site.id) == [ended] == [replace(begun, ended_ms=9)]
    assert deep_tests_of(connection, annexe.id) == []


def test_one_at_a_time(connection: Connection, site: Site) -> None:
    first = planned(connection, site)
    with pytest.raises(UsageError, match=f"test {first.id} of site studio was not ended"):
        planned(connection, site)
    start_test(connection, site, started_ms=7)
    with pytest.raises(UsageError, match="began before"):
        start_test(connection, site, started_ms=8)
    end_test(connection, site, ended_ms=9)
    second = planned(connection, site)
    assert [test.id for test in deep_tests_of(connection, site.id)] == [first.id, second.id]


def test_a_plan_can_be_given_up(connection: Connection, site: Site) -> None:
    planned(connection, site)
    given_up = end_test(connection, site, ended_ms=6)
    assert (given_up.started_ms, given_up.is_open) == (None, False)


def test_it_does_not_end_before_it_began(connection: Connection, site: Site) -> None:
    planned(connection, site)
    start_test(connection, site, started_ms=7)
    with pytest.raises(UsageError, match="would end before it began"):
        end_test(connection, site, ended_ms=7)


def test_without_a_plan_nothing_begins_or_ends(connection: Connection, site: Site) -> None:
    for step in (partial(start_test, started_ms=7), partial(end_test, ended_ms=7)):
        with pytest.raises(UsageError, match="has no test under way") as caught:
            step(connection, site)
        assert "deep-test plan" in caught.value.next_step


def test_what_a_power_cut_undoes_is_as_before(connection: Connection, site: Site) -> None:
    plan = planned(connection, site)
    with undone(connection):
        start_test(connection, site, started_ms=7)
    assert deep_tests_of(connection, site.id) == [plan]
