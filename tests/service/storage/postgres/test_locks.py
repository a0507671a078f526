"""Who writes beside whom, on a server: sites in groups, each with a lock of its own."""

from collections.abc import Iterable, Iterator
from contextlib import closing
from datetime import date

import pytest

from joulebook.storage import sealing
from joulebook.storage.blocks.block import DeviceBlock, encode_block
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import (
    ServerConnection,
    joined_snapshot,
    transaction,
    wait_for_nobody,
)
from joulebook.storage.database import Database
from joulebook.storage.days import dirty_count, mark_days, save_day
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.postgres.connection import GROUPS
from joulebook.storage.quarter_saving import save_quarters
from joulebook.storage.record_results import save_record_result
from joulebook.storage.records import SealCounts, Site
from joulebook.storage.retention import remove_old
from joulebook.storage.sealing import seal
from tests.helpers.databases import write
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS, periods, write_days
from tests.service.storage.postgres.conftest import connected

pytestmark = pytest.mark.outside

#: Two sites of different groups, and one that shares the first one's.
FIRST, SECOND, BESIDE_FIRST = 1, 2, 1 + GROUPS


@pytest.fixture(autouse=True)
def _impatient(link: ServerConnection, other: ServerConnection) -> None:
    wait_for_nobody(link)
    wait_for_nobody(other)


def may_write(connection: ServerConnection, sites: Iterable[int] | None) -> bool:
    """Return whether nobody else holds what a transaction needs."""
    try:
        with transaction(connection, sites):
            return True
    except StorageUnavailableError as error:
        if "locked by another program" not in error.what:
            raise  # no other fault says anything of locks
        return False


def test_sites_of_different_groups_do_not_wait_for_each_other(
    link: ServerConnection, other: ServerConnection
) -> None:
    with transaction(link, [FIRST]):
        assert may_write(other, [SECOND])
        assert not may_write(other, [BESIDE_FIRST])
        assert not may_write(other, [SECOND, FIRST])
        assert may_write(other, [])
    assert may_write(other, [BESIDE_FIRST])


def test_who_names_no_site_waits_for_all_and_all_wait_for_him(
    link: ServerConnection, other: ServerConnection
) -> None:
    with transaction(link, [FIRST]):
        assert not may_write(other, None)
    with transaction(link):
        assert not may_write(other, [SECOND])
        assert not may_write(other, [])
        assert not may_write(other, None)
    assert may_write(other, None)


def test_one_who_reads_waits_for_nobody(link: ServerConnection, other: ServerConnection) -> None:
    with transaction(link), joined_snapshot(other):
        assert dirty_count(other) == 0


def test_a_transaction_that_was_undone_lets_go(
    link: ServerConnection, other: ServerConnection
) -> None:
    with pytest.raises(ZeroDivisionError), transaction(link):
        raise ZeroDivisionError
    assert may_write(other, None)


def test_more_sites_than_groups_are_locked_by_their_groups(
    link: ServerConnection, other: ServerConnection
) -> None:
    with transaction(link, range(10_000)):
        (held,) = other.execute(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND granted"
        ).fetchone()
        assert held == GROUPS + 1


@pytest.fixture
def neighbours(served: tuple[Database, Site], link: ServerConnection) -> Iterator[Site]:
    """The studio with days of readings, while a transaction writes to a site of another group."""
    database, site = served
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    assert (annexe.id - site.id) % GROUPS
    write_days(link, site, range(-7, 4))
    with closing(connected(database)) as third, transaction(third, [annexe.id]):
        yield site


def test_what_is_of_one_site_waits_for_no_other(link: ServerConnection, neighbours: Site) -> None:
    site = neighbours
    day = date(2026, 3, 2)
    mark_days(link, site.id, [day])
    save_day(link, site.id, day, "day-1", b"{}", None, 5)
    save_record_result(link, site.id, "record", "r-1", b"{}", mark=1, computed_ms=5)
    save_quarters(link, site.id, "battery", {}, {})
    assert seal(link, LATER_MS).blocks == 11
    assert seal(link, MUCH_LATER_MS).weeks == 2
    removed = remove_old(link, site, now_ms=LATER_MS, keep_years=1)
    assert removed.rows == 0


def test_what_is_of_one_site_waits_for_its_own(
    served: tuple[Database, Site], link: ServerConnection, other: ServerConnection
) -> None:
    site = served[1]
    write_days(link, site, range(1))
    with transaction(other, [site.id]):
        for wait in (
            lambda: mark_days(link, site.id, [date(2026, 3, 2)]),
            lambda: save_record_result(
                link, site.id, "record", "r-1", b"{}", mark=1, computed_ms=5
            ),
            lambda: save_quarters(link, site.id, "battery", {}, {}),
            lambda: seal(link, LATER_MS),
        ):
            with pytest.raises(StorageUnavailableError, match="locked by another program"):
                wait()
    assert seal(link, LATER_MS).blocks == 1


def test_one_alone_is_at_something_until_he_is_done(
    link: ServerConnection, other: ServerConnection
) -> None:
    with link.alone("seal", 7) as mine:
        with other.alone("seal", 7) as theirs, other.alone("seal", 8) as something_else:
            assert (mine, theirs, something_else) == (True, False, True)
        with other.alone("drying", 7) as something_else:
            assert something_else
    with other.alone("seal", 7) as theirs:
        assert theirs


def test_one_who_goes_away_is_at_nothing_any_more(
    served: tuple[Database, Site], link: ServerConnection
) -> None:
    with closing(connected(served[0])) as third:
        with third.alone("seal", 7):
            (number,) = third.execute("SELECT pg_backend_pid()").fetchone()
            link.execute("SELECT pg_terminate_backend(?, 5000)", (number,))
            with link.alone("seal", 7) as mine:
                assert mine
            with pytest.raises(StorageUnavailableError):
                third.execute("SELECT 1")
        assert third.execute("SELECT 1").fetchone() == (1,)


def test_a_device_that_another_seals_is_passed_over(
    served: tuple[Database, Site],
    link: ServerConnection,
    other: ServerConnection,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    site = served[1]
    write_days(link, site, range(-7, 0))
    write(link, site, "grid", {MONDAY_MS - DAY_MS: {"power": 1.0}})
    theirs: list[SealCounts] = []

    def both_seal(now_ms: int) -> SealCounts:
        def encode(block: DeviceBlock) -> bytes:
            monkeypatch.setattr(sealing, "encode_block", encode_block)
            theirs.append(seal(other, now_ms))
            return encode_block(block)

        monkeypatch.setattr(sealing, "encode_block", encode)
        return seal(link, now_ms)

    assert both_seal(LATER_MS) == SealCounts(blocks=7, rows=7 * 24)
    assert theirs == [SealCounts(blocks=1, rows=1, postponed=7)]
    assert both_seal(MUCH_LATER_MS) == SealCounts(weeks=1)
    assert theirs[1:] == [SealCounts(postponed=1)]
    assert periods(link) == [(-7, 0), (-1, 0)]
