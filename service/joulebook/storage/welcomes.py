"""Welcome links: each lets one person in once, to choose a password."""

from dataclasses import dataclass

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.people import Person, add_person, has_owner, people, set_password
from joulebook.storage.secrets import hash_of, new_secret

_DAY_MS = 86_400_000
#: How long the link for the first owner is good, and one that invites somebody. [ms]
FIRST_MS = _DAY_MS
INVITED_MS = 7 * _DAY_MS


@dataclass(frozen=True, slots=True)
class Welcome:
    """Whom a link lets in; nobody yet where it makes the first owner."""

    id: int
    person: Person | None


@names_faults
def make_welcome(connection: Connection, person_id: int | None, *, now_ms: int) -> str:
    """Make a link for somebody, or the first owner, and return its secret, kept nowhere.

    An earlier one for the same is good no longer.
    """
    secret = new_secret()
    ends_ms = now_ms + (FIRST_MS if person_id is None else INVITED_MS)
    with joined(connection):
        connection.execute(
            "DELETE FROM welcomes WHERE person_id IS NOT DISTINCT FROM ? OR ends_ms <= ?",
            (person_id, now_ms),
        )
        connection.execute(
            """
            INSERT INTO welcomes (secret_sha256, person_id, made_ms, ends_ms)
            VALUES (?, ?, ?, ?)
            """,
            (hash_of(secret), person_id, now_ms, ends_ms),
        )
    return secret


@names_faults
def welcome_of(connection: Connection, secret: str, *, now_ms: int) -> Welcome | None:
    """Return whom a link lets in, or ``None`` where it is good no longer."""
    row = connection.execute(
        "SELECT id, person_id FROM welcomes WHERE secret_sha256 = ? AND ends_ms > ?",
        (hash_of(secret), now_ms),
    ).fetchone()
    if row is None:
        return None
    number, person_id = row
    if person_id is None:
        return None if has_owner(connection) else Welcome(number, None)
    [person] = (one for one in people(connection) if one.id == person_id)
    return Welcome(number, person) if person.disabled_ms is None else None


@names_faults
def use_welcome(
    connection: Connection, secret: str, *, name: str, kept: str, now_ms: int
) -> Person:
    """Let a person in: keep his password's hash, and let the link be good no longer.

    Parameters
    ----------
    name : str
        Of the first owner; not used for somebody who was invited.
    kept : str
        The hash of the password that he chose.

    Raises
    ------
    UsageError
        If the link is good no longer, or the name will not do.
    """
    with joined(connection):
        welcome = welcome_of(connection, secret, now_ms=now_ms)
        if welcome is None:
            raise UsageError(
                "this link is good no longer",
                where="the address",
                expected="a link that was not used yet, at most some days old",
                next_step="ask for a new one, or make it with `joulebook person link`",
            )
        person = welcome.person or add_person(connection, name, now_ms=now_ms, everywhere="owner")
        set_password(connection, person.id, kept)
        # Only now: on a server it is the link that opens the account.
        connection.execute("DELETE FROM welcomes WHERE id = ?", (welcome.id,))
        return person
