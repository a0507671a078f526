"""Nothing is acknowledged before it is on disk; a writer that fails leaves its work to the next."""

import threading
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.ingest import committer as committer_module
from joulebook.ingest.committer import Committer, Outcome
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Message, Verdict
from joulebook.storage.database import Database, StorageUnavailableError, transaction
from joulebook.storage.records import Site
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.packs import NOW_MS
from tests.service.ingest.running_inbox import BAD, GOOD, Door, running, voltages


def test_a_locked_database_is_waited_for_and_nothing_is_acknowledged(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = home
    monkeypatch.setattr("joulebook.storage.connections.BUSY_TIMEOUT_S", 0.01)
    door = Door()
    with running(database) as inbox, closing(database.connect()) as other:
        with transaction(other):
            inbox.put([GOOD], door.settled)
            wait_until(lambda: inbox.counts().failing is not None)
            assert "locked" in str(inbox.counts().failing)
            assert door.verdicts == []
            assert inbox.counts().queued == 1
        door.wait(1)
        assert inbox.counts().failing is None
    assert voltages(database, site) == [(NOW_MS, 53.1)]


def test_a_file_that_went_away_is_waited_for(home: tuple[Database, Site], tmp_path: Path) -> None:
    database, site = home
    door = Door()
    hidden = database.path.rename(tmp_path / "elsewhere")
    with running(database) as inbox:
        inbox.put([GOOD], door.settled)
        wait_until(lambda: inbox.counts().failing is not None)
        assert "cannot be opened" in str(inbox.counts().failing)
        hidden.rename(database.path)
        door.wait(1)
    assert voltages(database, site) == [(NOW_MS, 53.1)]


def test_stopping_gives_up_when_nothing_can_be_written(
    home: tuple[Database, Site], tmp_path: Path
) -> None:
    home[0].path.rename(tmp_path / "elsewhere")
    door = Door()
    inbox = Inbox(home[0], clock_ms=lambda: NOW_MS, retry_s=0.01)
    inbox.put([GOOD], door.settled)
    inbox.start()
    wait_until(lambda: inbox.counts().failing is not None)
    inbox.stop(timeout_s=0.2)
    assert not inbox.counts().alive
    assert door.verdicts == []
    assert inbox.counts().queued == 1


def test_a_bug_is_told_and_tried_again(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    door = Door()
    commit = Committer.commit
    failures = [
        RuntimeError("a bug"),
        StorageUnavailableError("x", where="", expected="", next_step=""),
    ]

    def sometimes(self: Committer, messages: Sequence[Message]) -> Outcome:
        if failures:
            raise failures.pop()
        return commit(self, messages)

    monkeypatch.setattr(committer_module.Committer, "commit", sometimes)
    with running(home[0]) as inbox:
        inbox.put([GOOD], door.settled)
        door.wait(1)
    assert door.verdicts == [[Verdict.STORED]]


def test_a_writer_that_dies_leaves_what_it_had_in_hand_to_the_next(
    home: tuple[Database, Site],
) -> None:
    clock, door = FailingClock(NOW_MS), Door()
    clock.kill_next("inbox")
    inbox = Inbox(home[0], clock_ms=clock)
    inbox.start()
    inbox.put([GOOD, BAD], door.settled)
    assert clock.reached.wait(60)
    wait_until(lambda: not inbox.alive)
    # It died between the commit and the answer: on disk, and nobody was told.
    assert voltages(*home) == [(NOW_MS, 53.1)]
    assert (door.verdicts, inbox.counts().queued) == ([], 2)
    assert inbox.counts().waiting_s > 0
    inbox.restart()
    door.wait(1)
    inbox.stop()
    counts = inbox.counts()
    assert door.verdicts == [[Verdict.STORED, Verdict.QUARANTINED]]
    assert (counts.queued, counts.messages, counts.new, counts.repeated) == (0, 2, 0, 1)
    assert counts.reasons == {"json-malformed": 1}
    assert sum(counts.commits_took.counts) == 1
    assert counts.waiting_s == 0.0


def test_a_writer_that_is_stuck_tells_nobody_once_another_took_over(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    reached, go_on = threading.Event(), threading.Event()
    stuck: list[threading.Thread] = []
    commit = Committer.commit

    def hanging(self: Committer, messages: Sequence[Message]) -> Outcome:
        if not stuck:
            stuck.append(threading.current_thread())
            reached.set()
            assert go_on.wait(60)
        return commit(self, messages)

    monkeypatch.setattr(committer_module.Committer, "commit", hanging)
    door = Door()
    with running(home[0]) as inbox:
        inbox.put([GOOD], door.settled)
        assert reached.wait(60)
        assert inbox.silent_s > 0
        inbox.restart()
        door.wait(1)
        go_on.set()
        stuck[0].join(60)
        wait_until(lambda: inbox.silent_s == 0)
        counts = inbox.counts()
    assert door.verdicts == [[Verdict.STORED]]
    assert (counts.messages, counts.commits, counts.queued) == (1, 1, 0)


def test_a_writer_that_waits_to_try_again_makes_way_too(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    failed: list[threading.Thread] = []
    commit = Committer.commit

    def failing_once(self: Committer, messages: Sequence[Message]) -> Outcome:
        if not failed:
            failed.append(threading.current_thread())
            raise RuntimeError("a bug")
        return commit(self, messages)

    monkeypatch.setattr(committer_module.Committer, "commit", failing_once)
    door = Door()
    with running(home[0], retry_s=0.2) as inbox:
        inbox.put([GOOD], door.settled)
        wait_until(lambda: inbox.counts().failing is not None)
        inbox.restart()
        door.wait(1)
        failed[0].join(60)
    assert door.verdicts == [[Verdict.STORED]]


def test_a_writer_that_is_held_up_by_a_door_takes_nothing_more(
    home: tuple[Database, Site],
) -> None:
    reached, go_on = threading.Event(), threading.Event()
    held: list[threading.Thread] = []

    def slow(_verdicts: Sequence[Verdict]) -> None:
        held.append(threading.current_thread())
        reached.set()
        assert go_on.wait(60)

    door = Door()
    with running(home[0]) as inbox:
        inbox.put([GOOD], slow)
        assert reached.wait(60)
        inbox.restart()
        inbox.put([GOOD], door.settled)
        door.wait(1)
        go_on.set()
        held[0].join(60)
        assert not held[0].is_alive()
        assert inbox.counts().queued == 0
