"""Whose session at a broker is whose: noted, beaten for, claimed once, forgotten."""

from dataclasses import replace

from joulebook.storage.broker_sessions import (
    BrokerSession,
    beat,
    claim,
    forget_session,
    leave_sessions,
    note_session,
    sessions_at,
)
from joulebook.storage.database import Connection

FIRST = BrokerSession(
    client_id="joulebook-a",
    broker="kiln.example:1883",
    subscriptions=("$share/joulebook/joulebook/v1/#", "$share/joulebook/shed/+"),
    holder="one",
)
SECOND = replace(FIRST, client_id="joulebook-b", holder="two")


def test_sessions_are_those_of_one_broker(connection: Connection) -> None:
    for session in (SECOND, FIRST, replace(FIRST, client_id="c", broker="other:1883")):
        note_session(connection, session)
    assert sessions_at(connection, "kiln.example:1883") == [FIRST, SECOND]


def test_a_beat_counts_for_what_the_holder_still_has(connection: Connection) -> None:
    note_session(connection, FIRST)
    note_session(connection, SECOND)
    assert beat(connection, "one", ["joulebook-b", "joulebook-a", "joulebook-z"]) == {"joulebook-a"}
    assert sessions_at(connection, FIRST.broker) == [replace(FIRST, beats=1), SECOND]


def test_of_two_that_claim_a_session_one_gets_it(connection: Connection) -> None:
    note_session(connection, FIRST)
    [seen] = sessions_at(connection, FIRST.broker)
    assert claim(connection, seen, "two")
    assert not claim(connection, seen, "three")
    [now] = sessions_at(connection, FIRST.broker)
    assert now == replace(FIRST, holder="two", beats=1)
    beat(connection, "two", [now.client_id])
    assert not claim(connection, now, "three")  # it has been read since


def test_only_its_holder_ends_a_session(connection: Connection) -> None:
    note_session(connection, FIRST)
    forget_session(connection, FIRST.client_id, "two")
    assert sessions_at(connection, FIRST.broker) == [FIRST]
    forget_session(connection, FIRST.client_id, "one")
    assert sessions_at(connection, FIRST.broker) == []


def test_what_is_left_is_nobodys(connection: Connection) -> None:
    note_session(connection, FIRST)
    note_session(connection, SECOND)
    leave_sessions(connection, "one")
    assert sessions_at(connection, FIRST.broker) == [replace(FIRST, holder=""), SECOND]
