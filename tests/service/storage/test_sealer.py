"""The thread that seals: beside the writer, through faults, until it is stopped."""

import logging
from collections.abc import Iterator
from contextlib import closing

import pytest

from joulebook.storage import sealer as sealer_module
from joulebook.storage.database import Connection, Database, StorageUnavailableError
from joulebook.storage.records import SealCounts, Site
from joulebook.storage.sealer import Sealer
from joulebook.storage.sealing import seal
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, hot_rows, power, write_days
from tests.helpers.turned_clocks import TurnedClock


@pytest.fixture
def clock() -> TurnedClock:
    return TurnedClock(MONDAY_MS)


@pytest.fixture
def sealer(
    database: Database, clock: TurnedClock, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Sealer]:
    monkeypatch.setattr(sealer_module, "PAUSE_S", 0.0)
    sealer = Sealer(database, clock_ms=clock, every_s=3600.0)
    yield sealer
    sealer.stop()
    assert not sealer.alive


def test_it_seals_at_its_start_and_when_it_is_nudged(
    sealer: Sealer, clock: TurnedClock, connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(4))
    expected = power(connection, site)
    assert not sealer.counts().alive
    clock.now_ms = MONDAY_MS + 3 * DAY_MS
    sealer.start()
    wait_until(lambda: sealer.counts().runs == 1)
    assert sealer.counts().alive
    assert sealer.counts().sealed == SealCounts(blocks=1, rows=24)
    clock.now_ms = LATER_MS
    sealer.nudge()
    wait_until(lambda: sealer.counts().runs == 2)
    assert sealer.counts().sealed == SealCounts(blocks=4, rows=96)
    assert sealer.counts().failing == ()
    assert power(connection, site) == expected


def test_it_looks_by_itself_every_now_and_then(
    database: Database, connection: Connection, site: Site, clock: TurnedClock
) -> None:
    write_days(connection, site, range(1))
    sealer = Sealer(database, clock_ms=clock, every_s=0.01)
    sealer.start()
    wait_until(lambda: sealer.counts().runs > 2)
    assert hot_rows(connection) == 24
    clock.now_ms = LATER_MS
    wait_until(lambda: sealer.counts().sealed.blocks == 1)
    sealer.stop()
    assert hot_rows(connection) == 0


def test_stopped_in_the_middle_it_ends_soon_and_leaves_all_readings(
    database: Database,
    connection: Connection,
    site: Site,
    clock: TurnedClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    write_days(connection, site, range(8))
    expected = power(connection, site)
    clock.now_ms = LATER_MS
    monkeypatch.setattr(sealer_module, "PAUSE_S", 3600.0)
    sealer = Sealer(database, clock_ms=clock)
    sealer.start()
    wait_until(lambda: hot_rows(connection) == 7 * 24)
    sealer.stop()
    assert not sealer.alive
    assert hot_rows(connection) == 7 * 24
    assert power(connection, site) == expected


def test_it_waits_out_a_fault_and_says_so(
    sealer: Sealer,
    clock: TurnedClock,
    connection: Connection,
    site: Site,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    write_days(connection, site, range(1))
    clock.now_ms = LATER_MS
    away = StorageUnavailableError("the disk is full", where="", expected="", next_step="")
    for error in (away, ArithmeticError("a bug")):

        def failing(*_: object, error: Exception = error, **__: object) -> SealCounts:
            raise error

        runs = sealer.counts().runs
        monkeypatch.setattr(sealer_module, "seal", failing)
        if runs:
            sealer.nudge()
        else:
            sealer.start()
        wait_until(lambda runs=runs: sealer.counts().runs > runs)  # type: ignore[misc]
        assert sealer.alive
        assert hot_rows(connection) == 24
    assert sealer.counts().failing == ("nothing can be sealed: ArithmeticError: a bug",)
    assert [record.levelno for record in caplog.records] == [logging.WARNING, logging.ERROR]
    assert "nothing can be sealed: the disk is full" in caplog.text
    monkeypatch.setattr(sealer_module, "seal", seal)
    sealer.nudge()
    wait_until(lambda: sealer.counts().runs == 3)
    assert sealer.counts().failing == ()
    assert hot_rows(connection) == 0


def test_it_finds_damaged_blocks_before_anybody_asks_for_them(
    sealer: Sealer, database: Database, connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    with closing(database.connect()) as other:
        other.execute("UPDATE blocks SET data = ? WHERE start_ms = ?", (b"\0", MONDAY_MS))
    sealer.start()
    wait_until(lambda: sealer.counts().runs == 1)
    (sentence,) = sealer.counts().failing
    assert "of studio/battery, 2026-03-02 (UTC), is damaged" in sentence
    # Told once, although it is seen again.
    sealer.nudge()
    wait_until(lambda: sealer.counts().runs == 2)
    assert sealer.counts().failing == (sentence,)


def test_one_that_was_never_started_can_be_stopped(database: Database, clock: TurnedClock) -> None:
    Sealer(database, clock_ms=clock).stop()
