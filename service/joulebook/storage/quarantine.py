"""Messages that could not be stored, kept with the reason."""

import hashlib
import sqlite3
from collections.abc import Sequence

from joulebook.storage.connections import joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Quarantined, Refused


@names_faults
def put_aside(connection: sqlite3.Connection, refused: Sequence[Refused]) -> int:
    """Keep refused messages; return how many of them had not been seen before.

    A repeat (same site, source, topic, payload and reason) only raises ``times_seen``. Takes
    part in the caller's transaction.
    """
    new = 0
    with joined(connection):
        for one in refused:
            (times_seen,) = connection.execute(
                """
                INSERT INTO quarantine (
                    digest, site_id, source, topic, payload, reason, detail,
                    received_ms, times_seen, last_received_ms
                )
                VALUES (?, ?, ?, ?, ?, ?, ?, ?, 1, ?)
                ON CONFLICT (digest) DO UPDATE
                SET times_seen = times_seen + 1,
                    last_received_ms = max(last_received_ms, excluded.last_received_ms)
                RETURNING times_seen
                """,
                (
                    _digest(one),
                    one.site_id,
                    one.source,
                    one.topic,
                    one.payload,
                    one.reason,
                    one.detail,
                    one.received_ms,
                    one.received_ms,
                ),
            ).fetchone()
            new += times_seen == 1
    return new


@names_faults
def quarantined(
    connection: sqlite3.Connection, site_id: int | None, *, limit: int = 100, offset: int = 0
) -> list[Quarantined]:
    """Return refused messages of a site (``None``: of all and of none), the newest first."""
    rows = connection.execute(
        """
        SELECT id, site_id, source, topic, payload, reason, detail,
            received_ms, times_seen, last_received_ms
        FROM quarantine
        WHERE ?1 IS NULL OR site_id = ?1
        ORDER BY last_received_ms DESC, id DESC
        LIMIT ?2 OFFSET ?3
        """,
        (site_id, limit, offset),
    )
    return [
        Quarantined(
            id=row_id,
            refused=Refused(
                site_id=site,
                source=source,
                topic=topic,
                payload=payload,
                reason=reason,
                detail=detail,
                received_ms=received_ms,
            ),
            times_seen=times_seen,
            last_received_ms=last_received_ms,
        )
        for (
            row_id,
            site,
            source,
            topic,
            payload,
            reason,
            detail,
            received_ms,
            times_seen,
            last_received_ms,
        ) in rows
    ]


@names_faults
def quarantine_count(connection: sqlite3.Connection, site_id: int | None) -> int:
    """Return how many messages are kept aside for a site (``None``: in all)."""
    (count,) = connection.execute(
        "SELECT count(*) FROM quarantine WHERE ?1 IS NULL OR site_id = ?1", (site_id,)
    ).fetchone()
    return int(count)


def _digest(refused: Refused) -> bytes:
    digest = hashlib.sha256()
    for part in (
        str(refused.site_id).encode(),
        refused.source.encode("utf-8", "surrogatepass"),
        refused.topic.encode("utf-8", "surrogatepass"),
        refused.payload,
        refused.reason.encode(),
    ):
        # The length first, so that no two different messages look alike once joined.
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.digest()
