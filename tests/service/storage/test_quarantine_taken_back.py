"""Messages that were set aside and are stored now: gone from there, and not counted as let go."""

from dataclasses import replace

from joulebook.storage.database import Connection, transaction
from joulebook.storage.quarantine import (
    SetAside,
    put_aside,
    quarantined,
    quarantined_after,
    set_aside,
    take_back,
)
from joulebook.storage.records import Refused, Site

REFUSED = Refused(
    site_id=1,
    source="bridge",
    topic="joulebook/v1/studio/battery",
    payload=b"[]",
    reason="time-ahead",
    detail="Dated ahead.",
    received_ms=1000,
)
NOBODYS = replace(REFUSED, site_id=None, reason="site-unknown")


def test_they_come_in_the_order_in_which_they_were_set_aside(
    connection: Connection, site: Site
) -> None:
    later = replace(REFUSED, payload=b"later")
    put_aside(connection, [NOBODYS, REFUSED, later])
    first, *others = quarantined_after(connection, None, 0, limit=9)
    assert [each.refused for each in (first, *others)] == [NOBODYS, REFUSED, later]
    assert quarantined_after(connection, None, first.id, limit=1) == others[:1]
    assert quarantined_after(connection, site.id, 0, limit=9) == others
    assert quarantined_after(connection, None, others[-1].id, limit=9) == []


def test_what_is_taken_back_was_not_let_go(connection: Connection, site: Site) -> None:
    put_aside(connection, [NOBODYS, REFUSED])
    both = quarantined(connection, None)
    for _ in range(2):  # of two who try at once the second finds nothing
        with transaction(connection):
            take_back(connection, both)
    assert quarantined(connection, None) == []
    assert set_aside(connection, None) == [
        SetAside(reason=reason, kept=0, kept_bytes=0, let_go=0)
        for reason in ("site-unknown", "time-ahead")
    ]
    assert set_aside(connection, site.id)[0].let_go == 0
