"""Alerts: how each rule stands, and the episodes that opened and closed."""

from dataclasses import dataclass

from joulebook.core.alerts.episodes import Watch
from joulebook.storage.connections import Connection
from joulebook.storage.faults import names_faults


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptWatch:
    """How a rule stands with a subject; ``least`` is the least value that it ever had."""

    watch: Watch
    least: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """From the opening of an alert to its closing.

    Attributes
    ----------
    id, site_id : int
    rule, subject : str
        Which rule, and of which device; empty for the site.
    opened_ms, closed_ms : int, and int or None
        [ms, UTC epoch]
    value : float
        With which it opened, in the rule's unit.
    sentence : str
        What was found then, for a person.
    """

    id: int
    site_id: int
    rule: str
    subject: str
    opened_ms: int
    closed_ms: int | None
    value: float
    sentence: str


@names_faults
def watches_of(connection: Connection, site_id: int) -> dict[tuple[str, str], KeptWatch]:
    """Return how each rule stands with each subject; one that was never seen is not there."""
    rows = connection.execute(
        "SELECT rule, subject, is_open, since_ms, least FROM alert_watches WHERE site_id = ?",
        (site_id,),
    )
    return {
        (rule, subject): KeptWatch(watch=Watch(bool(is_open), since_ms), least=least)
        for rule, subject, is_open, since_ms, least in rows
    }


def keep_watch(
    connection: Connection, site_id: int, rule: str, subject: str, kept: KeptWatch
) -> None:
    """Keep how a rule stands with a subject, in the caller's transaction."""
    connection.execute(
        """
        INSERT INTO alert_watches (site_id, rule, subject, is_open, since_ms, least)
        VALUES (?, ?, ?, ?, ?, ?)
        ON CONFLICT (site_id, rule, subject) DO UPDATE
        SET is_open = excluded.is_open, since_ms = excluded.since_ms, least = excluded.least
        """,
        (site_id, rule, subject, kept.watch.is_open, kept.watch.since_ms, kept.least),
    )


def open_episode(
    connection: Connection,
    site_id: int,
    rule: str,
    subject: str,
    *,
    at_ms: int,
    value: float,
    sentence: str,
) -> Episode:
    """Open an episode, in the caller's transaction."""
    (number,) = connection.execute(
        """
        INSERT INTO alert_episodes (site_id, rule, subject, opened_ms, value, sentence)
        VALUES (?, ?, ?, ?, ?, ?)
        RETURNING id
        """,
        (site_id, rule, subject, at_ms, value, sentence),
    ).fetchone()
    return Episode(
        id=int(number),
        site_id=site_id,
        rule=rule,
        subject=subject,
        opened_ms=at_ms,
        closed_ms=None,
        value=value,
        sentence=sentence,
    )


def close_episodes(
    connection: Connection, site_id: int, rule: str, subject: str, *, at_ms: int
) -> list[Episode]:
    """Close what is open of a rule with a subject, in the caller's transaction; return it."""
    there = [
        each
        for each in episodes_of(connection, site_id, only_open=True)
        if (each.rule, each.subject) == (rule, subject)
    ]
    connection.executemany(
        """
        UPDATE alert_episodes
        SET closed_ms = CASE WHEN opened_ms > ? THEN opened_ms ELSE ? END
        WHERE id = ?
        """,
        [(at_ms, at_ms, each.id) for each in there],
    )
    return there


@names_faults
def episodes_of(
    connection: Connection,
    site_id: int,
    *,
    only_open: bool = False,
    since_ms: int | None = None,
    most: int = 200,
) -> list[Episode]:
    """Return a site's episodes, the newest first.

    Parameters
    ----------
    only_open : bool
        Those that did not close yet.
    since_ms : int, optional
        Those that opened or closed at or after it. [ms, UTC epoch]
    """
    rows = connection.execute(
        """
        SELECT id, site_id, rule, subject, opened_ms, closed_ms, value, sentence
        FROM alert_episodes
        WHERE site_id = ?
        AND (NOT ? OR closed_ms IS NULL)
        AND (? IS NULL OR opened_ms >= ? OR closed_ms >= ?)
        ORDER BY opened_ms DESC, id DESC
        LIMIT ?
        """,
        (site_id, only_open, since_ms, since_ms, since_ms, most),
    )
    return [
        Episode(
            id=number,
            site_id=site,
            rule=rule,
            subject=subject,
            opened_ms=opened_ms,
            closed_ms=closed_ms,
            value=value,
            sentence=sentence,
        )
        for number, site, rule, subject, opened_ms, closed_ms, value, sentence in rows
    ]
