"""The writer thread against the real database: verdicts after the commit, and no message lost."""

import threading
from collections.abc import Sequence
from contextlib import closing

import pytest

from joulebook.ingest import inbox as inbox_module
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Verdict
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantined
from joulebook.storage.records import Site
from tests.helpers.packs import NOW_MS, VOLTAGE, message
from tests.service.ingest.running_inbox import BAD, GOOD, Door, running, voltages


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
