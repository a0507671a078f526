"""Sessions that copies of ingest have at a broker: who reads which, and which were left behind.

A copy counts up its sessions' beats while it reads them. Whoever sees the beats of another stand
still for long enough, by his own clock, claims the session: clocks of two machines never meet.
"""

from collections.abc import Collection
from dataclasses import dataclass

from joulebook.storage.connections import joined
from joulebook.storage.database import Connection
from joulebook.storage.faults import names_faults


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSession:
    """A session at a broker.

    Attributes
    ----------
    client_id : str
        Its name there.
    broker : str
        Where: ``host:port``.
    subscriptions : tuple of str
        The filters that it subscribed to.
    holder : str
        The copy that reads it; empty where it was left.
    beats : int
        Grows while it is read.
    """

    client_id: str
    broker: str
    subscriptions: tuple[str, ...]
    holder: str
    beats: int = 0


@names_faults
def sessions_at(connection: Connection, broker: str) -> list[BrokerSession]:
    """Return all sessions at a broker, in the order of their names."""
    rows = connection.execute(
        """
        SELECT client_id, broker, subscriptions, holder, beats
        FROM broker_sessions
        WHERE broker = ?
        ORDER BY client_id
        """,
        (broker,),
    )
    return [
        BrokerSession(
            client_id=client_id,
            broker=where,
            subscriptions=tuple(subscriptions.split("\n")),
            holder=holder,
            beats=beats,
        )
        for client_id, where, subscriptions, holder, beats in rows
    ]


@names_faults
def note_session(connection: Connection, session: BrokerSession) -> None:
    """Note a session before it is opened, so that it is never forgotten."""
    with joined(connection, ()):
        connection.execute(
            """
            INSERT INTO broker_sessions (client_id, broker, subscriptions, holder, beats)
            VALUES (?, ?, ?, ?, ?)
            """,
            (
                session.client_id,
                session.broker,
                "\n".join(session.subscriptions),
                session.holder,
                session.beats,
            ),
        )


@names_faults
def beat(connection: Connection, holder: str, client_ids: Collection[str]) -> set[str]:
    """Say that sessions are being read; return those of them that are still the holder's."""
    held = set()
    with joined(connection, ()):
        for client_id in sorted(client_ids):
            changed = connection.execute(
                """
                UPDATE broker_sessions
                SET beats = beats + 1
                WHERE client_id = ? AND holder = ?
                """,
                (client_id, holder),
            )
            if changed.rowcount:
                held.add(client_id)
    return held


@names_faults
def claim(connection: Connection, session: BrokerSession, holder: str) -> bool:
    """Take a session over, as it was seen; return whether it was still so."""
    with joined(connection, ()):
        changed = connection.execute(
            """
            UPDATE broker_sessions
            SET holder = ?, beats = beats + 1
            WHERE client_id = ? AND holder = ? AND beats = ?
            """,
            (holder, session.client_id, session.holder, session.beats),
        )
    return bool(changed.rowcount)


@names_faults
def forget_session(connection: Connection, client_id: str, holder: str) -> None:
    """Forget a session that has ended at the broker."""
    with joined(connection, ()):
        connection.execute(
            "DELETE FROM broker_sessions WHERE client_id = ? AND holder = ?", (client_id, holder)
        )


@names_faults
def leave_sessions(connection: Connection, holder: str) -> None:
    """Leave a holder's sessions to whoever comes first."""
    with joined(connection, ()):
        connection.execute("UPDATE broker_sessions SET holder = '' WHERE holder = ?", (holder,))
