"""Two who set messages aside for the same sites in different orders do not wait for each other."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Barrier

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import ServerConnection, transaction
from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.postgres import connection as server_connection
from joulebook.storage.quarantine import put_aside, quarantine_count
from joulebook.storage.records import Refused, Site
from tests.helpers.mqtt_inbox import WAIT_S, wait_until

pytestmark = pytest.mark.outside


def refused(site_id: int, payload: bytes) -> Refused:
    return Refused(
        site_id=site_id,
        source="bridge",
        topic="t",
        payload=payload,
        reason="not-senml",
        detail="",
        received_ms=1,
    )


@pytest.fixture
def sites(served: tuple[Database, Site]) -> tuple[int, int]:
    return served[1].id, add_site(served[0], "annexe", "Europe/Lisbon").id


def set_aside(
    connection: ServerConnection, first: int, second: int, between: Callable[[], object]
) -> None:
    """Set a message aside for one site, then for the other: each counts its site's in one row."""
    payload = f"{first} before {second}".encode()
    with transaction(connection):
        put_aside(connection, [refused(first, payload)])
        between()
        put_aside(connection, [refused(second, payload)])


def test_one_waits_at_the_door_until_the_other_is_done(
    link: ServerConnection, other: ServerConnection, sites: tuple[int, int]
) -> None:
    one, annexe = sites
    waiting: list[Future[None]] = []

    with ThreadPoolExecutor() as threads:

        def let_the_other_come() -> None:
            waiting.append(threads.submit(set_aside, other, annexe, one, lambda: None))
            wait_until(lambda: waits_for_a_lock(link))

        set_aside(link, one, annexe, let_the_other_come)
        waiting[0].result(WAIT_S)
    assert [quarantine_count(link, each) for each in sites] == [2, 2]


def waits_for_a_lock(connection: ServerConnection) -> bool:
    (count,) = connection.execute(
        "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"
    ).fetchone()
    return bool(count)


def test_with_a_door_that_lets_both_in_they_would_have(
    link: ServerConnection,
    other: ServerConnection,
    sites: tuple[int, int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(server_connection, "_LOCK_ALL", "SELECT %s")
    both_inside = Barrier(2, timeout=WAIT_S)
    for connection in (link, other):
        connection.execute("SET deadlock_timeout = 1")  # ms: the server looks for one at once
    with ThreadPoolExecutor() as threads:
        both = [
            threads.submit(set_aside, connection, *order, both_inside.wait)
            for connection, order in ((link, sites), (other, sites[::-1]))
        ]
        faults = [fault for each in both if (fault := each.exception(WAIT_S))]
    assert len(faults) == 1
    assert isinstance(faults[0], StorageUnavailableError)
    assert "two that waited for each other" in faults[0].what


def test_who_names_sites_sets_nothing_aside(link: ServerConnection, sites: tuple[int, int]) -> None:
    with transaction(link, sites):
        assert put_aside(link, []) == 0
        with pytest.raises(RuntimeError, match="names no sites"):
            put_aside(link, [refused(sites[0], b"x")])
    assert quarantine_count(link, None) == 0
    assert put_aside(link, [refused(sites[0], b"x")]) == 1
    assert not link.keeps_all_out
