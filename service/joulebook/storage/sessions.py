"""Sessions: the browsers in which people are signed in."""

from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined, wait_for_nobody
from joulebook.storage.faults import StorageUnavailableError, names_faults, naming_faults
from joulebook.storage.organisations import sites_inside
from joulebook.storage.records import Role
from joulebook.storage.secrets import hash_of, new_secret

_DAY_MS = 86_400_000
#: A session ends after so long without a request, and so long after it began. [ms]
IDLE_MS = 14 * _DAY_MS
LONGEST_MS = 90 * _DAY_MS
#: When a session was last seen is noted no finer than this. [ms]
_COARSE_MS = 600_000
_LONGEST_AGENT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedIn:
    """Who is signed in by a session, and what he may do.

    ``inside`` is by organisation; ``at`` is by site, and holds the sites of his organisations.
    """

    session_id: int
    person_id: int
    name: str
    everywhere: Role | None
    inside: Mapping[int, Role]
    at: Mapping[int, Role]


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """A session as its person sees it. ``agent`` is what the browser calls itself."""

    id: int
    address: str
    agent: str
    made_ms: int
    seen_ms: int  # to ten minutes


@names_faults
def open_session(
    connection: Connection, person_id: int, *, address: str, agent: str, now_ms: int
) -> str:
    """Begin a session and return its secret, which is kept nowhere. Old ones are cleared away."""
    secret = new_secret()
    secret_sha256 = hash_of(secret)
    with joined(connection):
        _clear_away(connection, now_ms)
        connection.execute(
            """
            INSERT INTO sessions (secret_sha256, person_id, address, agent, made_ms, seen_ms)
            VALUES (?, ?, ?, ?, ?, ?)
            """,
            (secret_sha256, person_id, address, agent[:_LONGEST_AGENT], now_ms, now_ms),
        )
    return secret


@names_faults
def session_of(connection: Connection, secret: str, *, now_ms: int) -> SignedIn | None:
    """Return who is signed in by a secret, and note that he was seen."""
    row = connection.execute(
        """
        SELECT sessions.id, person_id, name, everywhere, seen_ms
        FROM sessions
        JOIN people ON people.id = person_id
        WHERE secret_sha256 = ? AND disabled_ms IS NULL
            AND sessions.made_ms > ? AND seen_ms > ?
        """,
        (hash_of(secret), now_ms - LONGEST_MS, now_ms - IDLE_MS),
    ).fetchone()
    if row is None:
        return None
    session_id, person_id, name, everywhere, seen_ms = row
    inside, at = _roles_of(connection, person_id)
    if now_ms - seen_ms >= _COARSE_MS:
        _note_seen(connection, session_id, now_ms)
    return SignedIn(
        session_id=session_id,
        person_id=person_id,
        name=name,
        everywhere=everywhere,
        inside=inside,
        at=at,
    )


def _roles_of(connection: Connection, person_id: int) -> tuple[dict[int, Role], dict[int, Role]]:
    """Return what somebody may do, by organisation and by site: the more of both."""
    inside: dict[int, Role] = dict(
        connection.execute(
            "SELECT organisation_id, role FROM organisation_roles WHERE person_id = ?",
            (person_id,),
        ).fetchall()
    )
    at: dict[int, Role] = dict(
        connection.execute(
            "SELECT site_id, role FROM roles WHERE person_id = ?", (person_id,)
        ).fetchall()
    )
    for organisation_id, role in inside.items():
        for site_id in sites_inside(connection, organisation_id):
            if at.get(site_id) != "owner":
                at[site_id] = role
    return inside, at


def _note_seen(connection: Connection, session_id: int, now_ms: int) -> None:
    """Note that a session was used; while somebody else writes, or nobody can, do without.

    Old ones are cleared away here too: on a server, who begins one sees no others than his own.
    """
    wait_for_nobody(connection)
    try:
        with naming_faults(connection):
            connection.execute("UPDATE sessions SET seen_ms = ? WHERE id = ?", (now_ms, session_id))
            _clear_away(connection, now_ms)
    except StorageUnavailableError:
        return


def _clear_away(connection: Connection, now_ms: int) -> None:
    connection.execute(
        "DELETE FROM sessions WHERE made_ms <= ? OR seen_ms <= ?",
        (now_ms - LONGEST_MS, now_ms - IDLE_MS),
    )


@names_faults
def sessions_of(connection: Connection, person_id: int, *, now_ms: int) -> list[Session]:
    """Return where somebody is signed in, the latest first."""
    rows = connection.execute(
        """
        SELECT id, address, agent, made_ms, seen_ms
        FROM sessions
        WHERE person_id = ? AND made_ms > ? AND seen_ms > ?
        ORDER BY seen_ms DESC, id DESC
        """,
        (person_id, now_ms - LONGEST_MS, now_ms - IDLE_MS),
    )
    return [
        Session(id=number, address=address, agent=agent, made_ms=made_ms, seen_ms=seen_ms)
        for number, address, agent, made_ms, seen_ms in rows
    ]


@names_faults
def has_signed_in_from(connection: Connection, person_id: int, address: str) -> bool:
    """Tell whether somebody is signed in from an address."""
    found = connection.execute(
        "SELECT EXISTS (SELECT 1 FROM sessions WHERE person_id = ? AND address = ?)",
        (person_id, address),
    )
    return bool(found.fetchone()[0])


@names_faults
def close_session(connection: Connection, session_id: int) -> None:
    """End a session."""
    connection.execute("DELETE FROM sessions WHERE id = ?", (session_id,))


@names_faults
def close_sessions(connection: Connection, person_id: int) -> int:
    """Sign somebody out everywhere, and return where he was signed in."""
    return connection.execute("DELETE FROM sessions WHERE person_id = ?", (person_id,)).rowcount
