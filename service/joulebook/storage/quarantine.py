"""Messages that could not be stored, kept with the reason, as long as there is room for them.

Who sends garbage without end must not fill the disk. So what is set aside has limits, of a site
and in all; where one is passed, the oldest of the reason that takes the most room are let go, and
how many were is kept by reason for good.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from joulebook.storage.connections import Connection, joined, require_all_out
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Quarantined, Refused


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineRoom:
    """How much may be set aside."""

    messages: int
    bytes: int  # of payloads, topics, senders and details


#: What may be set aside of one site, or of none that is known; and what in all.
ROOM_OF_A_SITE = QuarantineRoom(messages=10_000, bytes=32 * 1024 * 1024)
ROOM_IN_ALL = QuarantineRoom(messages=40_000, bytes=128 * 1024 * 1024)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """What was set aside for one reason: what is still kept, and how many were let go."""

    reason: str
    kept: int
    kept_bytes: int
    let_go: int


_SELECT = """
    SELECT id, times_seen, last_received_ms, received_ms,
        site_id, source, topic, payload, reason, detail
    FROM quarantine
    """


@names_faults
def put_aside(
    connection: Connection,
    refused: Sequence[Refused],
    *,
    of_a_site: QuarantineRoom = ROOM_OF_A_SITE,
    in_all: QuarantineRoom = ROOM_IN_ALL,
) -> int:
    """Keep refused messages; return how many of them had not been seen before.

    A repeat (same site, source, topic, payload and reason) only raises ``times_seen``. Where there
    is no room for all, the oldest of the reason that takes the most are let go, and counted. Takes
    part in the caller's transaction, which must name no sites: of any site something may be let go.
    """
    if not refused:
        return 0
    new = 0
    with joined(connection):
        require_all_out(connection)
        for one in refused:
            texts = [_storable(text) for text in (one.source, one.topic, one.reason, one.detail)]
            digest = digest_of(one.site_id, *texts[:3], one.payload)
            (times_seen,) = connection.execute(
                """
                INSERT INTO quarantine (
                    digest, site_id, source, topic, reason, detail, payload,
                    received_ms, times_seen, last_received_ms
                )
                VALUES (?, ?, ?, ?, ?, ?, ?, ?, 1, ?)
                ON CONFLICT (digest) DO UPDATE
                SET times_seen = quarantine.times_seen + 1,
                    last_received_ms = CASE
                        WHEN excluded.last_received_ms > quarantine.last_received_ms
                        THEN excluded.last_received_ms
                        ELSE quarantine.last_received_ms
                    END
                RETURNING times_seen
                """,
                (digest, one.site_id, *texts, one.payload, one.received_ms, one.received_ms),
            ).fetchone()
            new += times_seen == 1
        for owner in {_owner(one.site_id) for one in refused}:
            _make_room(connection, of_a_site, owner)
        _make_room(connection, in_all, None)
    return new


def _make_room(connection: Connection, room: QuarantineRoom, owner: int | None) -> None:
    """Let go of the oldest, one after the other, until what an owner (``None``: all) has fits."""
    while True:
        groups = connection.execute(
            """
            SELECT owner, reason, kept, kept_bytes
            FROM quarantine_sizes
            WHERE ? IS NULL OR owner = ?
            """,
            (owner, owner),
        ).fetchall()
        too_many = sum(kept for *_, kept, _ in groups) - room.messages
        too_long = sum(kept_bytes for *_, kept_bytes in groups) - room.bytes
        if too_many <= 0 and too_long <= 0:
            return
        column = 2 if too_many > 0 else 3
        whose, reason, kept, kept_bytes = max(groups, key=lambda group: int(group[column]))
        # What is too long is let go by the mean length, and looked at again.
        count = too_many if too_many > 0 else ceil(too_long * kept / kept_bytes)
        # Of a site or of nobody: an index is asked for either, but for no "not distinct from".
        mine, values = ("site_id = ?", (whose,)) if whose else ("site_id IS NULL", ())
        connection.execute(
            f"""
            DELETE FROM quarantine
            WHERE id IN (
                SELECT id
                FROM quarantine
                WHERE {mine} AND reason = ?
                ORDER BY last_received_ms, id
                LIMIT ?
            )
            """,  # noqa: S608 -- one of two texts of ours
            (*values, reason, count),
        )


@names_faults
def quarantined(
    connection: Connection, site_id: int | None, *, limit: int = 100, offset: int = 0
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
def quarantined_after(
    connection: Connection, site_id: int | None, last_id: int, *, limit: int
) -> list[Quarantined]:
    """Return refused messages of a site (``None``: of all and of none) after one, as they came."""
    rows = connection.execute(
        f"{_SELECT} WHERE id > ? AND (? IS NULL OR site_id = ?) ORDER BY id LIMIT ?",
        (last_id, site_id, site_id, limit),
    )
    return [_quarantined(*row) for row in rows]


def take_back(connection: Connection, kept: Sequence[Quarantined]) -> None:
    """Delete messages that are stored now, in the caller's transaction: none is let go.

    It must name no sites, as for `put_aside`.
    """
    if kept:
        require_all_out(connection)
    for each in kept:
        gone = connection.execute("DELETE FROM quarantine WHERE id = ?", (each.id,)).rowcount
        # The table of sizes counts what leaves as let go, and this was not.
        connection.execute(
            "UPDATE quarantine_sizes SET let_go = let_go - ? WHERE owner = ? AND reason = ?",
            (gone, _owner(each.refused.site_id), each.refused.reason),
        )


@names_faults
def quarantine_count(connection: Connection, site_id: int | None) -> int:
    """Return how many messages are kept aside for a site (``None``: in all)."""
    return sum(each.kept for each in set_aside(connection, site_id))


@names_faults
def set_aside(connection: Connection, site_id: int | None) -> list[SetAside]:
    """Return what was ever set aside for a site (``None``: in all), by reason."""
    rows = connection.execute(
        """
        SELECT reason, sum(kept), sum(kept_bytes), sum(let_go)
        FROM quarantine_sizes
        WHERE ? IS NULL OR owner = ?
        GROUP BY reason
        ORDER BY reason
        """,
        (site_id, site_id),
    )
    return [
        SetAside(reason=reason, kept=kept, kept_bytes=kept_bytes, let_go=let_go)
        for reason, kept, kept_bytes, let_go in rows
    ]


def _owner(site_id: int | None) -> int:
    return 0 if site_id is None else site_id


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


def digest_of(*parts: object) -> bytes:
    """Return what tells a repeat: of site, source, topic, reason and payload."""
    digest = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else str(part).encode("utf-8")
        # The length first, so that no two different messages look alike once joined.
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
    return digest.digest()
