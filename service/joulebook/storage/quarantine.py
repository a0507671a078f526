"""Messages that could not be stored, kept with the reason."""

import hashlib
import sqlite3
from collections.abc import Sequence
from typing import Any

from joulebook.storage.connections import joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Quarantined, Refused

_SELECT = """
    SELECT id, times_seen, last_received_ms, received_ms,
        site_id, source, topic, payload, reason, detail
    FROM quarantine
    """


@names_faults
def put_aside(connection: sqlite3.Connection, refused: Sequence[Refused]) -> int:
    """Keep refused messages; return how many of them had not been seen before.

    A repeat (same site, source, topic, payload and reason) only raises ``times_seen``. Takes
    part in the caller's transaction.
    """
    new = 0
    with joined(connection):
        for one in refused:
            texts = [_storable(text) for text in (one.source, one.topic, one.reason, one.detail)]
            digest = _digest(one.site_id, *texts[:3], one.payload)
            (times_seen,) = connection.execute(
                """
                INSERT INTO quarantine (
                    digest, site_id, source, topic, reason, detail, payload,
                    received_ms, times_seen, last_received_ms
                )
                VALUES (?, ?, ?, ?, ?, ?, ?, ?, 1, ?)
                ON CONFLICT (digest) DO UPDATE
                SET times_seen = times_seen + 1,
                    last_received_ms = max(last_received_ms, excluded.last_received_ms)
                RETURNING times_seen
                """,
                (digest, one.site_id, *texts, one.payload, one.received_ms, one.received_ms),
            ).fetchone()
            new += times_seen == 1
    return new


@names_faults
def quarantined(
    connection: sqlite3.Connection, site_id: int | None, *, limit: int = 100, offset: int = 0
) -> list[Quarantined]:
    """Return refused messages of a site (``None``: of all and of none), the newest first."""
    # Two statements, for each has its own index; one for both would sort the whole table.
    newest_first = "ORDER BY last_received_ms DESC, id DESC LIMIT ? OFFSET ?"
    if site_id is None:
        rows = connection.execute(f"{_SELECT} {newest_first}", (limit, offset))
    else:
        rows = connection.execute(
            f"{_SELECT} WHERE site_id = ? {newest_first}", (site_id, limit, offset)
        )
    return [_quarantined(*row) for row in rows]


@names_faults
def quarantine_count(connection: sqlite3.Connection, site_id: int | None) -> int:
    """Return how many messages are kept aside for a site (``None``: in all)."""
    if site_id is None:
        counted = connection.execute("SELECT count(*) FROM quarantine")
    else:
        counted = connection.execute(
            "SELECT count(*) FROM quarantine WHERE site_id = ?", (site_id,)
        )
    return int(counted.fetchone()[0])


def _quarantined(
    row_id: int, times_seen: int, last_received_ms: int, received_ms: int, *message: Any
) -> Quarantined:
    site_id, source, topic, payload, reason, detail = message
    refused = Refused(
        site_id=site_id,
        source=source,
        topic=topic,
        payload=payload,
        reason=reason,
        detail=detail,
        received_ms=received_ms,
    )
    return Quarantined(
        id=row_id, refused=refused, times_seen=times_seen, last_received_ms=last_received_ms
    )


def _storable(text: str) -> str:
    # The name of a file may hold bytes that are no UTF-8; it must not stop the quarantine.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _digest(*parts: object) -> bytes:
    digest = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else str(part).encode("utf-8")
        # The length first, so that no two different messages look alike once joined.
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
    return digest.digest()
