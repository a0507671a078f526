"""Tokens: what lets a program write to one site, read, or watch the service."""

from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass
from typing import get_args

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined, wait_for_nobody
from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError, names_faults, naming_faults
from joulebook.storage.names import check_name
from joulebook.storage.organisations import Organisation
from joulebook.storage.records import Grant, Scope, Site
from joulebook.storage.secrets import hash_of, new_secret

SCOPES: tuple[Scope, ...] = get_args(Scope)

#: When a token was last used is noted no finer than this. [ms]
_COARSE_MS = 3_600_000

_GRANTS = """
    SELECT tokens.id, tokens.name, scope, site_id, sites.name, tokens.made_ms, last_used_ms,
        revoked_ms, tokens.organisation_id, organisations.name
    FROM tokens
    LEFT JOIN sites ON sites.id = site_id
    LEFT JOIN organisations ON organisations.id = tokens.organisation_id
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """A token as its owner sees it; the secret is kept nowhere.

    Attributes
    ----------
    id : int
        By which it is revoked.
    name, scope, site : str, Scope and str or None
        ``site`` is ``None`` for a token that concerns several sites.
    organisation : str or None
        Whose sites it concerns; every site where both are ``None``.
    made_ms : int or None
        ``None`` for a token older than the note of it. [ms, UTC epoch]
    last_used_ms : int or None
        To the hour; ``None`` where it never was. [ms, UTC epoch]
    revoked_ms : int or None
        When it was revoked. [ms, UTC epoch]
    """

    id: int
    name: str
    scope: Scope
    site: str | None
    organisation: str | None
    made_ms: int | None
    last_used_ms: int | None
    revoked_ms: int | None


def add_token(
    db: Database, site: Site | None, name: str, *, scope: Scope = "write", now_ms: int | None = None
) -> str:
    """Make a token and return its secret, which is kept nowhere.

    Parameters
    ----------
    site : Site or None
        What it is for; ``None`` is every site, which only reading and watching may be.

    Raises
    ------
    UsageError
        If the name has no proper form, or a token that writes is for no single site.
    """
    with closing(db.connect()) as connection:
        return insert_token(connection, site, name, scope=scope, now_ms=now_ms)


@names_faults
def insert_token(
    connection: Connection,
    site: Site | None,
    name: str,
    *,
    scope: Scope,
    now_ms: int | None,
    organisation: Organisation | None = None,
) -> str:
    """Do what `add_token` does, in the caller's transaction where there is one.

    Parameters
    ----------
    organisation : Organisation, optional
        Instead of a site: all those that belong to it, the later ones too. Only to read.

    Raises
    ------
    UsageError
        Also if a token for an organisation would do anything but read.
    """
    check_name("a token", name)
    if scope == "write" and site is None:
        raise UsageError(
            "a token that writes is for one site",
            where="site",
            expected="the name of a site",
            next_step="name the site whose readings the bridge sends",
        )
    if organisation is not None and (scope != "read" or site is not None):
        raise UsageError(
            "a token for an organisation reads, and is for no single site",
            where="scope",
            expected="read, without a site",
            next_step="make a token of a site for what writes, and one for all that watches",
        )
    secret = new_secret()
    site_id = None if site is None else site.id
    organisation_id = None if organisation is None else organisation.id
    connection.execute(
        """
        INSERT INTO tokens (site_id, organisation_id, name, secret_sha256, scope, made_ms)
        VALUES (?, ?, ?, ?, ?, ?)
        """,
        (site_id, organisation_id, name, hash_of(secret), scope, now_ms),
    )
    return secret


def check_token(
    db: Database, name: str | None, secret: str, *, now_ms: int | None = None
) -> Grant | None:
    """Return what the bearer of a secret may do, or ``None``.

    Parameters
    ----------
    name : str or None
        The token's; with ``None`` the secret alone decides, as that of a bearer token does.
    now_ms : int, optional
        Notes the use, if none was noted within the hour. [ms, UTC epoch]
    """
    with naming_faults(db.path), closing(db.connect()) as connection:
        row = connection.execute(
            f"{_GRANTS} WHERE secret_sha256 = ? AND revoked_ms IS NULL",
            (hash_of(secret),),
        ).fetchone()
        if row is None or name not in (None, row[1]):
            return None
        number, found, scope, site_id, site, _, last_used_ms, _, organisation_id, _ = row
        if now_ms is not None and (last_used_ms is None or now_ms - last_used_ms >= _COARSE_MS):
            _note_use(connection, number, now_ms)
    return Grant(
        token_id=number,
        name=found,
        scope=scope,
        site_id=site_id or 0,
        site=site or "",
        organisation_id=organisation_id,
    )


def _note_use(connection: Connection, token_id: int, now_ms: int) -> None:
    """Note that a token was used; while somebody else writes, or nobody can, do without."""
    wait_for_nobody(connection)
    try:
        with naming_faults(connection):
            connection.execute(
                "UPDATE tokens SET last_used_ms = ? WHERE id = ?", (now_ms, token_id)
            )
    except StorageUnavailableError:
        return


@names_faults
def tokens_of(
    connection: Connection, site_id: int | None = None, *, organisation_id: int | None = None
) -> list[Token]:
    """Return tokens in the order in which they were made: of a site or an organisation, or all."""
    rows = connection.execute(
        f"""
        {_GRANTS}
        WHERE (? IS NULL OR site_id = ?) AND (? IS NULL OR tokens.organisation_id = ?)
        ORDER BY tokens.id
        """,
        (site_id, site_id, organisation_id, organisation_id),
    )
    return [
        Token(
            id=number,
            name=name,
            scope=scope,
            site=site,
            organisation=organisation,
            made_ms=made_ms,
            last_used_ms=last_used_ms,
            revoked_ms=revoked_ms,
        )
        for number, name, scope, _, site, made_ms, last_used_ms, revoked_ms, _, organisation in rows
    ]


@names_faults
def revoke_token(
    connection: Connection,
    token_id: int,
    *,
    now_ms: int,
    site_id: int | None = None,
    organisation_id: int | None = None,
) -> Token:
    """Revoke a token, for good; its row stays.

    Parameters
    ----------
    site_id, organisation_id : int, optional
        Only a token of this site, or of this organisation.

    Raises
    ------
    UsageError
        If there is no such token, or it was revoked before.
    """
    with joined(connection):
        there = tokens_of(connection, site_id, organisation_id=organisation_id)
        open_ones = {one.id: one for one in there if one.revoked_ms is None}
        if token_id not in open_ones:
            raise UsageError(
                f"there is no token {token_id} to be revoked",
                where="token",
                expected="one of " + ", ".join(map(str, open_ones)) if open_ones else "a token",
                next_step="list them with `joulebook token list`",
            )
        connection.execute("UPDATE tokens SET revoked_ms = ? WHERE id = ?", (now_ms, token_id))
        return open_ones[token_id]


def revoked_among(db: Database, token_ids: Collection[int]) -> set[int]:
    """Return those of some tokens that let nobody in any more."""
    with naming_faults(db.path), closing(db.connect()) as connection:
        valid = {
            number
            for (number,) in connection.execute("SELECT id FROM tokens WHERE revoked_ms IS NULL")
        }
    return set(token_ids) - valid
