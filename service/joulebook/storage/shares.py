"""Links to one page of a site, for somebody without an account."""

from dataclasses import dataclass

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site
from joulebook.storage.secrets import hash_of, new_secret

#: A link may be good for so long at most. [ms]
LONGEST_MS = 366 * 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A link to one page.

    Attributes
    ----------
    id : int
        By which it is revoked.
    site_id : int
        The site that the page is of.
    page : str
        The page's own address, with its query.
    made_by : str
        Who made it.
    made_ms, ends_ms, revoked_ms : int, int, and int or None
        When it was made, ends by itself, and was revoked. [ms, UTC epoch]
    """

    id: int
    site_id: int
    page: str
    made_by: str
    made_ms: int
    ends_ms: int
    revoked_ms: int | None = None


_SHARES = "SELECT id, site_id, page, made_by, made_ms, ends_ms, revoked_ms FROM shares"


@names_faults
def add_share(
    connection: Connection,
    site: Site,
    page: str,
    *,
    made_by: str,
    now_ms: int,
    lasts_ms: int,
) -> str:
    """Make a link to a page and return its secret, which is kept nowhere.

    Raises
    ------
    UsageError
        If it would be good for longer than a year.
    """
    if not 0 < lasts_ms <= LONGEST_MS:
        raise UsageError(
            "the link cannot be good for so long",
            where="days",
            expected="1 to 366 days",
            next_step="choose fewer days; another link can be made then",
        )
    secret = new_secret()
    connection.execute(
        """
        INSERT INTO shares (secret_sha256, site_id, page, made_by, made_ms, ends_ms)
        VALUES (?, ?, ?, ?, ?, ?)
        """,
        (hash_of(secret), site.id, page, made_by, now_ms, now_ms + lasts_ms),
    )
    return secret


@names_faults
def share_of(connection: Connection, secret: str, *, now_ms: int) -> Share | None:
    """Return the page that a link leads to, or ``None`` where it is good no longer."""
    return _good(connection, "secret_sha256 = ?", hash_of(secret), now_ms)


@names_faults
def share_numbered(connection: Connection, number: int, *, now_ms: int) -> Share | None:
    """Return a link by its number, or ``None`` where it is good no longer."""
    return _good(connection, "id = ?", number, now_ms)


def _good(connection: Connection, condition: str, value: bytes | int, now_ms: int) -> Share | None:
    row = connection.execute(
        f"{_SHARES} WHERE {condition} AND ends_ms > ? AND revoked_ms IS NULL", (value, now_ms)
    ).fetchone()
    return None if row is None else _share(row)


@names_faults
def shares_of(connection: Connection, site_id: int) -> list[Share]:
    """Return a site's links, the latest first, also those that are good no longer."""
    rows = connection.execute(f"{_SHARES} WHERE site_id = ? ORDER BY id DESC", (site_id,))
    return [_share(row) for row in rows]


@names_faults
def revoke_share(connection: Connection, site: Site, number: int, *, now_ms: int) -> Share:
    """Revoke a link, with effect on the next request; its row stays.

    Raises
    ------
    UsageError
        If the site has no such link, or it was revoked before.
    """
    with joined(connection):
        there = {one.id: one for one in shares_of(connection, site.id) if one.revoked_ms is None}
        if number not in there:
            raise UsageError(
                f"{site.name} has no link {number} to be revoked",
                where="link",
                expected="a link that was not revoked yet",
                next_step="look at the list of links",
            )
        connection.execute("UPDATE shares SET revoked_ms = ? WHERE id = ?", (now_ms, number))
        return there[number]


def _share(row: tuple[int, int, str, str, int, int, int | None]) -> Share:
    number, site_id, page, made_by, made_ms, ends_ms, revoked_ms = row
    return Share(
        id=number,
        site_id=site_id,
        page=page,
        made_by=made_by,
        made_ms=made_ms,
        ends_ms=ends_ms,
        revoked_ms=revoked_ms,
    )
