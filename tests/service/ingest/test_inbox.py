"""The writer thread against the real database: verdicts after the commit, and no message lost."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from joulebook.ingest import committer as committer_module
from joulebook.ingest import inbox as inbox_module
from joulebook.ingest.committer import Committer, Outcome
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Message, Verdict
from joulebook.storage.database import Database, StorageUnavailableError, transaction
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from tests.helpers.databases import studio
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.packs import NOW_MS, VOLTAGE, message

GOOD = message([VOLTAGE])
BAD = message(b"nonsense")


class Door:
    """Collects verdicts as a door would, and waits for them."""

    def __init__(self) -> None:
        self.verdicts: list[list[Verdict]] = []
        self._heard = threading.Condition()

    def settled(self, verdicts: Sequence[Verdict]) -> None:
        with self._heard:
            self.verdicts.append(list(verdicts))
            self._heard.notify_all()

    def wait(self, parts: int) -> None:
        with self._heard:
            assert self._heard.wait_for(lambda: len(self.verdicts) >= parts, 10)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path)
    yield database, site
    database.close()


@contextmanager
def running(
    database: Database,
    *,
    wrote: Callable[[], None] = lambda: None,
    room: int = 20_000,
    retry_s: float = 0.01,
) -> Iterator[Inbox]:
    inbox = Inbox(database, clock_ms=lambda: NOW_MS, wrote=wrote, room=room, retry_s=retry_s)
    inbox.start()
    try:
        yield inbox
    finally:
        inbox.stop()
        assert not inbox.counts().alive


def voltages(database: Database, site: Site) -> list[tuple[int, object]]:
    with closing(database.connect()) as connection:
        return [(one.at_ms, one.value) for one in latest_readings(connection, site.id)]


def test_verdicts_come_in_order_and_after_the_commit(home: tuple[Database, Site]) -> None:
    database, site = home
    seen: list[object] = []
    door = Door()

    def settled(verdicts: Sequence[Verdict]) -> None:
        seen.append(voltages(database, site))
        door.settled(verdicts)

    with running(database) as inbox:
        inbox.put([BAD, GOOD, message([VOLTAGE], site="barn")], settled)
        door.wait(1)
        counts = inbox.counts()
    assert door.verdicts == [[Verdict.QUARANTINED, Verdict.STORED, Verdict.NOT_AUTHORISED]]
    assert seen == [[(NOW_MS, 53.1)]]
    assert (counts.messages, counts.new, counts.quarantined, counts.commits) == (3, 1, 2, 1)
    assert (counts.queued, counts.failing, counts.last_commit_ms, counts.alive) == (
        0, None, NOW_MS, True,
    )  # fmt: skip
    with closing(database.connect()) as connection:
        kept = {one.refused.reason: one.refused.payload for one in quarantined(connection, site.id)}
    assert kept == {"json-malformed": BAD.payload, "site-not-allowed": GOOD.payload}


def test_a_message_sent_again_is_stored_once(home: tuple[Database, Site]) -> None:
    door = Door()
    with running(home[0]) as inbox:
        inbox.put([GOOD, GOOD], door.settled)
        inbox.put([GOOD], door.settled)
        inbox.put([message([VOLTAGE | {"v": 54.0}])], door.settled)
        door.wait(3)
        counts = inbox.counts()
    assert (counts.new, counts.repeated, counts.replaced) == (1, 2, 1)
    assert voltages(*home) == [(NOW_MS, 54.0)]


def test_what_arrives_during_a_commit_goes_into_the_next(home: tuple[Database, Site]) -> None:
    door, reached, go_on = Door(), threading.Event(), threading.Event()

    def first(verdicts: Sequence[Verdict]) -> None:
        reached.set()
        assert go_on.wait(60)
        door.settled(verdicts)

    with running(home[0]) as inbox:
        inbox.put([GOOD], first)
        assert reached.wait(60)
        for second in range(50):
            inbox.put([message([VOLTAGE | {"t": -second}])], door.settled)
        go_on.set()
        door.wait(51)
        assert inbox.counts().commits == 2


def test_a_transaction_has_a_limit(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inbox_module, "MOST_A_COMMIT", 2)
    door = Door()
    inbox = Inbox(home[0], clock_ms=lambda: NOW_MS)
    for _ in range(5):
        inbox.put([GOOD], door.settled)
    inbox.start()
    inbox.stop()
    assert inbox.counts().commits == 3


@pytest.mark.parametrize(("room", "room_bytes"), [(2, 10**6), (100, 2 * len(GOOD.payload))])
def test_a_full_inbox_says_so_until_it_is_written(
    home: tuple[Database, Site], room: int, room_bytes: int
) -> None:
    inbox = Inbox(home[0], clock_ms=lambda: NOW_MS, room=room, room_bytes=room_bytes)
    door = Door()
    assert inbox.has_room()
    inbox.put([GOOD, GOOD], door.settled)
    assert not inbox.has_room()
    assert inbox.counts().queued == 2
    inbox.start()
    inbox.stop()
    assert inbox.has_room()
    assert door.verdicts == [[Verdict.STORED] * 2]


def test_stopping_writes_what_is_queued(home: tuple[Database, Site]) -> None:
    door = Door()
    inbox = Inbox(home[0], clock_ms=lambda: NOW_MS)
    for second in range(100):
        inbox.put([message([VOLTAGE | {"t": -second}])], door.settled)
    inbox.start()
    inbox.stop()
    assert inbox.counts().new == 100
    assert len(door.verdicts) == 100
    assert not inbox.counts().alive


def test_an_inbox_that_never_started_stops(home: tuple[Database, Site]) -> None:
    inbox = Inbox(home[0], clock_ms=lambda: NOW_MS)
    inbox.stop()
    assert not inbox.counts().alive


def test_no_messages_have_no_verdicts(home: tuple[Database, Site]) -> None:
    door = Door()
    with running(home[0]) as inbox:
        inbox.put([], door.settled)
        door.wait(1)
    assert door.verdicts == [[]]


def test_each_commit_is_announced(home: tuple[Database, Site]) -> None:
    announced = threading.Event()
    door = Door()
    with running(home[0], wrote=announced.set) as inbox:
        inbox.put([GOOD], door.settled)
        assert announced.wait(60)


def test_doors_that_fail_cost_nobody_else(home: tuple[Database, Site]) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the door fell out of its frame")

    door = Door()
    with running(home[0], wrote=broken) as inbox:
        inbox.put([GOOD], broken)
        inbox.put([BAD], door.settled)
        door.wait(1)
        inbox.put([BAD], door.settled)
        door.wait(2)


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


def wait_until(holds: Callable[[], bool]) -> None:
    """Look often until a condition of another thread holds."""
    look = threading.Event()
    assert any(holds() or look.wait(0.01) for _ in range(6000))
