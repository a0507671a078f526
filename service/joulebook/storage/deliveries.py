"""What is to be told on which channel: each thing once, tried again until it is told.

A delivery is noted as under way before it is sent. Who finds one under way at the start knows
that the service ended in between: whether it arrived nobody can tell, and since nothing is told
twice it is not sent again but shown as unknown.
"""

from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults

#: Pauses before the second and further tries; after the last one it is given up. [s]
PAUSES_S = (60, 300, 900, 3600, 3 * 3600, 6 * 3600, 12 * 3600, 24 * 3600)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is told.

    Attributes
    ----------
    about : str
        What it is about, so that it is told once on a channel: ``episode 7 opened``.
    title, body : str
        Plain text.
    html : str or None
        The same for mail programs that show it.
    """

    about: str
    title: str
    body: str
    html: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """One thing that is told on one channel; ``url`` is a secret."""

    id: int
    channel_id: int
    label: str
    url: str
    told: Told
    state: str
    made_ms: int
    next_ms: int
    tries: int
    trouble: str

    def __repr__(self) -> str:
        return f"Delivery(id={self.id}, label={self.label!r}, about={self.told.about!r})"


def put_delivery(
    connection: Connection, channel_id: int, told: Told, *, now_ms: int, not_before_ms: int
) -> bool:
    """Put something there to be told, in the caller's transaction.

    Returns whether it is new: what was put there before under the same name stays as it is.
    """
    return bool(
        connection.execute(
            """
            INSERT INTO alert_deliveries
                (channel_id, about, title, body, html, state, made_ms, next_ms, tries, trouble)
            VALUES (?, ?, ?, ?, ?, 'waiting', ?, ?, 0, '')
            ON CONFLICT (channel_id, about) DO NOTHING
            """,
            (channel_id, told.about, told.title, told.body, told.html, now_ms, not_before_ms),
        ).rowcount
    )


@names_faults
def due_deliveries(connection: Connection, *, now_ms: int, most: int) -> list[Delivery]:
    """Return what is to be sent now, the oldest first."""
    return _deliveries(
        connection,
        "state = 'waiting' AND next_ms <= ? AND removed_ms IS NULL ORDER BY deliveries.id LIMIT ?",
        (now_ms, most),
    )


@names_faults
def deliveries_of(connection: Connection, site_id: int, *, most: int = 50) -> list[Delivery]:
    """Return what was or is to be told of a site, the newest first."""
    return _deliveries(
        connection, "channels.site_id = ? ORDER BY deliveries.id DESC LIMIT ?", (site_id, most)
    )


@names_faults
def letters_of(connection: Connection, site_id: int) -> set[str]:
    """Return the ISO weeks whose letter of a site was put there, for any channel."""
    rows = connection.execute(
        """
        SELECT DISTINCT substr(about, 8)
        FROM alert_deliveries
        JOIN alert_channels AS channels ON channels.id = channel_id
        WHERE channels.site_id = ? AND about LIKE 'letter %'
        """,
        (site_id,),
    )
    return {week for (week,) in rows}


@names_faults
def begin_sending(connection: Connection, delivery: Delivery) -> bool:
    """Note that a delivery is under way; return whether it still was to be sent."""
    with joined(connection):
        return bool(
            connection.execute(
                """
                UPDATE alert_deliveries SET state = 'sending', tries = tries + 1
                WHERE id = ? AND state = 'waiting'
                """,
                (delivery.id,),
            ).rowcount
        )


@names_faults
def note_sent(connection: Connection, delivery: Delivery) -> None:
    """Note that a delivery under way was taken by its service."""
    _set_state(connection, delivery, "delivered", "", 0)


@names_faults
def note_refused(connection: Connection, delivery: Delivery, trouble: str, *, now_ms: int) -> bool:
    """Note that a delivery under way was not taken; return whether it is tried again."""
    done = delivery.tries
    if done >= len(PAUSES_S):
        _set_state(connection, delivery, "given-up", trouble, 0)
        return False
    _set_state(connection, delivery, "waiting", trouble, now_ms + 1000 * PAUSES_S[done])
    return True


@names_faults
def note_cut_short(connection: Connection) -> int:
    """Note of deliveries under way that the service ended in between; return how many."""
    with joined(connection):
        return connection.execute(
            """
            UPDATE alert_deliveries
            SET state = 'unknown', trouble = 'the service ended while it was being sent'
            WHERE state = 'sending'
            """
        ).rowcount


def _set_state(
    connection: Connection, delivery: Delivery, state: str, trouble: str, next_ms: int
) -> None:
    with joined(connection):
        connection.execute(
            "UPDATE alert_deliveries SET state = ?, trouble = ?, next_ms = ? WHERE id = ?",
            (state, trouble[:300], next_ms, delivery.id),
        )


def _deliveries(connection: Connection, condition: str, values: tuple[int, int]) -> list[Delivery]:
    rows = connection.execute(
        f"""
        SELECT deliveries.id, channel_id, label, url, about, title, body, html, state,
            deliveries.made_ms, next_ms, tries, trouble
        FROM alert_deliveries AS deliveries
        JOIN alert_channels AS channels ON channels.id = channel_id
        WHERE {condition}
        """,  # noqa: S608 -- conditions of ours
        values,
    )
    return [
        Delivery(
            id=number,
            channel_id=channel_id,
            label=label,
            url=url,
            told=Told(about=about, title=title, body=body, html=html),
            state=state,
            made_ms=made_ms,
            next_ms=next_ms,
            tries=tries,
            trouble=trouble,
        )
        for number, channel_id, label, url, about, title, body, html, state, made_ms, next_ms, tries, trouble in rows  # noqa: E501 -- a row
    ]
