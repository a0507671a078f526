import hashlib

import pytest

from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.people import add_person, set_disabled
from joulebook.storage.records import Site
from joulebook.storage.sessions import (
    IDLE_MS,
    LONGEST_MS,
    Session,
    SignedIn,
    close_session,
    close_sessions,
    has_signed_in_from,
    open_session,
    session_of,
    sessions_of,
)

MINUTE_MS = 60_000


@pytest.fixture
def person_id(connection: Connection, site: Site) -> int:
    return add_person(connection, "Ada", now_ms=1, at={site.id: "owner"}).id


def opened(connection: Connection, person_id: int, now_ms: int = 0) -> str:
    return open_session(
        connection, person_id, address="192.0.2.7", agent="a browser", now_ms=now_ms
    )


def test_its_secret_tells_who_is_signed_in(
    connection: Connection, person_id: int, site: Site
) -> None:
    secret = opened(connection, person_id)
    assert session_of(connection, secret, now_ms=1) == SignedIn(
        session_id=1,
        person_id=person_id,
        name="Ada",
        everywhere=None,
        inside={},
        at={site.id: "owner"},
    )
    assert session_of(connection, secret + "x", now_ms=1) is None
    assert session_of(connection, "\udcff", now_ms=1) is None


def test_it_has_256_bits_of_which_the_hash_is_kept(connection: Connection, person_id: int) -> None:
    secret = opened(connection, person_id)
    assert len(secret) == 43  # 32 bytes in base 64 without padding, RFC 4648 §5
    [(kept,)] = connection.execute("SELECT secret_sha256 FROM sessions")
    assert kept == hashlib.sha256(secret.encode()).digest()
    assert opened(connection, person_id) != secret


def test_it_ends_after_two_weeks_without_a_visit(connection: Connection, person_id: int) -> None:
    secret = opened(connection, person_id)
    assert session_of(connection, secret, now_ms=IDLE_MS - 1) is not None  # and was seen then
    assert session_of(connection, secret, now_ms=2 * IDLE_MS - 2) is not None
    assert session_of(connection, secret, now_ms=3 * IDLE_MS - 2) is None


def test_it_ends_ninety_days_after_it_began_however_often_it_is_used(
    connection: Connection, person_id: int
) -> None:
    secret = opened(connection, person_id)
    for now_ms in range(0, LONGEST_MS, IDLE_MS // 2):
        assert session_of(connection, secret, now_ms=now_ms) is not None
    assert session_of(connection, secret, now_ms=LONGEST_MS - 1) is not None
    assert session_of(connection, secret, now_ms=LONGEST_MS) is None


def test_that_it_was_seen_is_noted_every_ten_minutes(
    connection: Connection, person_id: int
) -> None:
    secret = opened(connection, person_id)

    def seen_ms(now_ms: int) -> int:
        assert session_of(connection, secret, now_ms=now_ms) is not None
        return sessions_of(connection, person_id, now_ms=now_ms)[0].seen_ms

    assert seen_ms(10 * MINUTE_MS - 1) == 0
    assert seen_ms(10 * MINUTE_MS) == 10 * MINUTE_MS
    assert seen_ms(15 * MINUTE_MS) == 10 * MINUTE_MS


def test_while_somebody_else_writes_it_counts_without_a_note(
    connection: Connection, person_id: int, database: Database
) -> None:
    secret = opened(connection, person_id)
    other = database.connect()
    with transaction(other):
        # A file is locked by any writer, a server's row by one who writes to it.
        other.execute("UPDATE sessions SET agent = 'another'")
        assert session_of(connection, secret, now_ms=IDLE_MS - 1) is not None
    other.close()
    assert sessions_of(connection, person_id, now_ms=1)[0].seen_ms == 0


def test_whoever_is_shut_out_is_signed_in_no_more(connection: Connection, person_id: int) -> None:
    secret = opened(connection, person_id)
    connection.execute("UPDATE people SET disabled_ms = 5")  # by a way that left the session
    assert session_of(connection, secret, now_ms=6) is None
    connection.execute("UPDATE people SET disabled_ms = NULL")
    [person] = (one for one in (add_person(connection, "Rui", now_ms=1),))
    set_disabled(connection, person, disabled_ms=6)
    assert session_of(connection, secret, now_ms=6) is not None


def test_sessions_end_one_by_one_or_all_of_somebody(connection: Connection, person_id: int) -> None:
    first, second, third = (opened(connection, person_id, now_ms=each) for each in (0, 1, 2))
    other = opened(connection, add_person(connection, "Rui", now_ms=1).id)
    assert [one.id for one in sessions_of(connection, person_id, now_ms=3)] == [3, 2, 1]
    assert sessions_of(connection, person_id, now_ms=3)[0] == Session(
        id=3, address="192.0.2.7", agent="a browser", made_ms=2, seen_ms=2
    )
    close_session(connection, 2)
    known = [session_of(connection, each, now_ms=3) for each in (first, second, third)]
    assert [one is not None for one in known] == [True, False, True]
    assert close_sessions(connection, person_id) == 2
    assert session_of(connection, first, now_ms=3) is None
    assert session_of(connection, other, now_ms=3) is not None


def test_old_ones_are_cleared_away_when_a_new_one_begins(
    connection: Connection, person_id: int
) -> None:
    opened(connection, person_id)
    opened(connection, person_id, now_ms=IDLE_MS)
    assert connection.execute("SELECT made_ms FROM sessions").fetchall() == [(IDLE_MS,)]
    assert len(sessions_of(connection, person_id, now_ms=IDLE_MS)) == 1


def test_old_ones_are_cleared_away_too_where_another_one_is_used(
    connection: Connection, person_id: int
) -> None:
    opened(connection, person_id)
    secret = opened(connection, add_person(connection, "Rui", now_ms=1).id, now_ms=1)
    assert session_of(connection, secret, now_ms=IDLE_MS) is not None
    assert connection.execute("SELECT made_ms FROM sessions").fetchall() == [(1,)]


def test_from_where_somebody_is_signed_in(connection: Connection, person_id: int) -> None:
    opened(connection, person_id)
    assert has_signed_in_from(connection, person_id, "192.0.2.7")
    assert not has_signed_in_from(connection, person_id, "192.0.2.8")
    assert not has_signed_in_from(connection, person_id + 1, "192.0.2.7")
