"""A connection that the server ends: pg_terminate_backend, PostgreSQL's manual 9.27.2."""

from contextlib import suppress

import pytest

from joulebook.storage.connections import ServerConnection, transaction
from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.records import Site

_NOTE = "INSERT INTO audit (at_ms, who, action, detail) VALUES (1, 'Ada', ?, '')"


def _end(link: ServerConnection, other: ServerConnection) -> None:
    (number,) = link.execute("SELECT pg_backend_pid()").fetchone()
    other.execute("SELECT pg_terminate_backend(?, 5000)", (number,))


def _noted(other: ServerConnection) -> list[str]:
    return [action for (action,) in other.execute("SELECT action FROM audit ORDER BY id")]


def test_between_transactions_another_takes_its_place(
    link: ServerConnection, other: ServerConnection
) -> None:
    _end(link, other)
    with suppress(StorageUnavailableError), transaction(link):
        link.execute(_NOTE, ("first",))
    with transaction(link):
        link.execute(_NOTE, ("second",))
    assert _noted(other)[-1] == "second"


def test_within_one_nothing_of_it_is_written_although_the_error_was_swallowed(
    served: tuple[Database, Site], link: ServerConnection, other: ServerConnection
) -> None:
    assert served[1].name == "studio"

    def write_on() -> None:
        with transaction(link):
            link.execute(_NOTE, ("before",))
            _end(link, other)
            with suppress(StorageUnavailableError):
                link.execute(_NOTE, ("while",))
            assert link.in_transaction
            link.execute(_NOTE, ("after",))

    with pytest.raises(StorageUnavailableError):
        write_on()
    assert not link.in_transaction
    assert _noted(other) == []
    with transaction(link):
        link.execute(_NOTE, ("again",))
    assert _noted(other) == ["again"]
