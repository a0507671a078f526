"""Copies that share a broker: each reads its part, and what one leaves behind another empties."""

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.ingest.mqtt.shared_broker import MOST_HEIRS, SharedBroker
from joulebook.ingest.mqtt.shared_clients import SharedClient
from joulebook.storage.broker_sessions import (
    BrokerSession,
    claim,
    forget_session,
    note_session,
    sessions_at,
)
from joulebook.storage.database import Database
from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.mqtt_inbox import RecordingInbox, wait_until
from tests.helpers.mqtt_server import NOW_MS

TOPIC = "joulebook/v1/home/battery"


class Hall:
    """A broker, a database and copies whose rounds are done by hand."""

    def __init__(self, folder: Path, broker: Mosquitto) -> None:
        self.broker = broker
        self.database = Database.open(folder / "data")
        self.inbox = RecordingInbox()
        self.now_s = 100.0
        self._copies: list[SharedBroker] = []

    def copy(self, **given: Any) -> SharedBroker:
        copy = SharedBroker(
            given.pop("inbox", self.inbox),
            self.database,
            url=f"mqtt://127.0.0.1:{self.broker.port}",
            share="joulebook",
            clock_ms=lambda: NOW_MS,
            settle_s=0.05,
            now_s=lambda: self.now_s,
            **given,
        )
        self._copies.append(copy)
        copy._round()
        wait_until(lambda: copy.connected)
        return copy

    def sessions(self) -> list[BrokerSession]:
        with closing(self.database.connect()) as connection:
            return sessions_at(connection, f"127.0.0.1:{self.broker.port}")

    def left(self, name: str) -> None:
        """Leave a session behind, as a copy does that was killed at an unknown time."""
        client = SharedClient(
            self.inbox,
            url=f"mqtt://127.0.0.1:{self.broker.port}",
            topic_filters=["$share/joulebook/joulebook/v1/#"],
            client_id=name,
            clock_ms=lambda: NOW_MS,
        )
        client.start()
        wait_until(lambda: client.connected)
        client.abandon()
        session = BrokerSession(
            client_id=name,
            broker=f"127.0.0.1:{self.broker.port}",
            subscriptions=client.subscriptions,
            holder="somebody",
        )
        with closing(self.database.connect()) as connection:
            note_session(connection, session)

    def until(self, condition: Callable[[], bool], *copies: SharedBroker) -> None:
        def met() -> bool:
            for copy in copies:
                copy._round()
            return condition()

        wait_until(met)

    def close(self) -> None:
        for copy in self._copies:
            copy.stop()
        self.inbox.stop()
        self.database.close()


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[Hall]:
    (tmp_path / "broker").mkdir()
    with running_mosquitto(tmp_path / "broker") as broker:
        hall = Hall(tmp_path, broker)
        yield hall
        hall.close()


pytestmark = pytest.mark.outside


def test_a_copy_that_stops_leaves_its_share_to_the_others(hall: Hall) -> None:
    first, second = hall.copy(), hall.copy()
    first.stop()
    assert [one.holder for one in hall.sessions()].count("") == 1
    hall.broker.publish(TOPIC, [b"[%d]" % n for n in range(10)])  # half of it for nobody
    hall.until(lambda: len(hall.sessions()) == 1, second)
    assert len({message.payload for message in hall.inbox.messages}) == 10
    assert second.connected


def test_a_copy_that_is_silent_for_long_is_followed_by_an_heir(hall: Hall) -> None:
    hall.left("joulebook-killed")
    hall.broker.publish(TOPIC, [b"[1]"])
    copy = hall.copy()
    hall.now_s += 4
    copy._round()
    hall.now_s += 4
    copy._round()
    assert hall.sessions()[-1].holder == "somebody"  # 8 s: it may be slow
    assert hall.inbox.messages == []
    hall.now_s += 4
    hall.until(lambda: len(hall.sessions()) == 1, copy)
    assert hall.inbox.payloads() == [b"[1]"]


def test_a_copy_that_beats_is_left_alone(hall: Hall) -> None:
    first, second = hall.copy(), hall.copy()
    for _ in range(10):
        hall.now_s += 4
        first._round()
        second._round()
    assert len({one.holder for one in hall.sessions()}) == 2
    assert min(one.beats for one in hall.sessions()) == 11


def test_who_was_away_himself_inherits_nothing_at_once(hall: Hall) -> None:
    hall.left("joulebook-killed")
    copy = hall.copy()
    hall.now_s += 60  # all were stopped, the database was away: nothing is known of others
    copy._round()
    assert hall.sessions()[-1].holder == "somebody"
    for _ in range(3):
        hall.now_s += 4
        copy._round()
    assert hall.sessions()[-1].holder != "somebody"


def test_only_so_many_sessions_are_emptied_at_a_time(hall: Hall) -> None:
    for number in range(MOST_HEIRS + 1):
        hall.left(f"joulebook-{number}")
    copy = hall.copy()
    for _ in range(3):
        hall.now_s += 4
        copy._round()
    assert [one.holder for one in hall.sessions()].count("somebody") == 1
    hall.until(lambda: len(hall.sessions()) == 1, copy)


def test_of_two_that_see_a_session_left_one_empties_it(hall: Hall) -> None:
    hall.left("joulebook-killed")
    first, second = hall.copy(), hall.copy()
    seen = hall.sessions()[-1]
    with closing(hall.database.connect()) as connection:
        first._inherit(connection, seen)
        second._inherit(connection, seen)
    assert list(first._heirs) == ["joulebook-killed"]
    assert second._heirs == {}
    hall.until(lambda: len(hall.sessions()) == 2, first)


def test_a_copy_whose_session_was_taken_opens_another(
    hall: Hall, caplog: pytest.LogCaptureFixture
) -> None:
    copy = hall.copy()
    [taken] = hall.sessions()
    with closing(hall.database.connect()) as connection:
        assert claim(connection, taken, "somebody else")
        assert not claim(connection, taken, "and another")
    copy._round()
    wait_until(lambda: copy.connected)
    assert "another copy took our session" in caplog.text
    assert len(hall.sessions()) == 2
    with closing(hall.database.connect()) as connection:
        forget_session(connection, taken.client_id, "somebody else")
    assert len(hall.sessions()) == 1


def test_an_heir_gives_up_what_another_has_claimed(hall: Hall) -> None:
    hall.left("joulebook-killed")
    copy = hall.copy()
    for _ in range(3):
        hall.now_s += 4
        copy._round()
    [heir] = copy._heirs.values()
    with closing(hall.database.connect()) as connection:
        assert claim(connection, hall.sessions()[-1], "somebody else")
    copy._round()
    assert copy._heirs == {}
    assert not heir.alive
    for _ in range(3):  # and the other one was killed in turn
        hall.now_s += 4
        copy._round()
    hall.until(lambda: len(hall.sessions()) == 1, copy)


def test_an_heir_that_died_is_followed_by_another(hall: Hall) -> None:
    hall.left("joulebook-killed")
    hall.broker.publish(TOPIC, [b"[1]"])
    copy = hall.copy()
    hall.inbox.room = False
    for _ in range(3):
        hall.now_s += 4
        copy._round()
    [heir] = copy._heirs.values()
    wait_until(lambda: hall.inbox.asked > 0)
    heir.abandon()
    hall.inbox.room = True
    assert not heir.alive
    copy._round()
    for _ in range(3):
        hall.now_s += 4
        copy._round()
    hall.until(lambda: len(hall.sessions()) == 1, copy)
    assert hall.inbox.payloads() == [b"[1]"]


def failing(*_: object) -> None:
    raise ZeroDivisionError("a bug of ours")


def test_a_reader_that_died_is_started_again(hall: Hall, caplog: pytest.LogCaptureFixture) -> None:
    copy = hall.copy()
    died = copy._own._client
    died.on_message = failing  # where paho calls us
    hall.broker.publish(TOPIC, [b"[1]"])
    wait_until(lambda: not copy._own.alive)
    copy._round()
    wait_until(lambda: hall.inbox.payloads() == [b"[1]"])
    assert "the thread that reads the broker has died" in caplog.text


def test_it_looks_by_itself_and_says_so(hall: Hall) -> None:
    copy = SharedBroker(
        hall.inbox,
        hall.database,
        url=f"mqtt://127.0.0.1:{hall.broker.port}",
        share="joulebook",
        clock_ms=lambda: NOW_MS,
        round_s=0.01,
    )
    assert not copy.alive
    copy.start()
    wait_until(lambda: copy.connected and copy.rounds.runs > 2)
    assert copy.alive
    assert copy.silent_s < 10
    copy.restart()
    assert copy.alive
    copy.stop()
    assert not copy.alive
    assert [one.holder for one in hall.sessions()] == [""]


def test_a_stop_without_the_database_leaves_the_rest_to_the_others(hall: Hall) -> None:
    copy = hall.copy()
    hall.database.path.rename(hall.database.path.with_suffix(".away"))
    copy.stop()
    hall.database.path.with_suffix(".away").rename(hall.database.path)
    assert [one.holder for one in hall.sessions()] != [""]
