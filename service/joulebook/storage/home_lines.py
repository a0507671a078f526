"""What is told of each home among many, kept ready, so that a page of ten thousand only reads."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import NamedTuple

from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.names import IS_WHOLE

#: So many homes are asked for by one statement, the last of them again where there are fewer.
_AT_ONCE = 50
_SOME = ", ".join("?" * _AT_ONCE)
#: The gravity of a home of which nothing was told yet.
NOT_TOLD = 1_000_000


@dataclass(frozen=True, slots=True)
class HomeNumbers:
    """A home's numbers and, where they were compared, its peers, as the caller packed them.

    ``organisation_id`` is who looks after it, where all homes are asked for.
    """

    site_id: int
    numbers: bytes
    peers: bytes | None
    organisation_id: int | None = None


class HomePlace(NamedTuple):
    """Where a home stands among all; a plain tuple, for ten thousand are made at once.

    Attributes
    ----------
    site_id, name : int, str
    reasons : tuple of str
        Codes of what is told of it, the gravest first.
    told_yet : bool
        Whether anything was found out of it; a site that was just added waits for a minute.
    """

    site_id: int
    name: str
    reasons: tuple[str, ...]
    told_yet: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeLine:
    """What is told of a home, as the caller packed it, and when it was heard. [ms, UTC epoch]"""

    site_id: int
    numbers: bytes
    peers: bytes | None
    told: bytes
    made_ms: int
    heard_ms: int | None


@names_faults
def save_numbers(
    connection: Connection, rows: Sequence[tuple[int, bytes, str]], *, now_ms: int
) -> None:
    """Keep homes' numbers and what they were made of; their lines are to be made anew.

    Parameters
    ----------
    rows : sequence of (int, bytes, str)
        Site, numbers, and what they were made of. A site that is gone is passed over.
    """
    with joined(connection, [site_id for site_id, _, _ in rows]):
        mark = _next_mark(connection)
        connection.executemany(
            """
            INSERT INTO home_lines
                (site_id, gravity, reasons, numbers, numbers_of, told, made_of, made_ms, mark)
            SELECT id, ?, '', ?, ?, ?, '', ?, ? FROM sites WHERE id = ?
            ON CONFLICT (site_id) DO UPDATE
            SET numbers = excluded.numbers,
                numbers_of = excluded.numbers_of,
                made_of = '',
                mark = excluded.mark
            """,
            [
                (NOT_TOLD, numbers, numbers_of, b"[]", now_ms, mark, site_id)
                for site_id, numbers, numbers_of in rows
            ],
        )


@names_faults
def save_peers(connection: Connection, rows: Sequence[tuple[int, bytes]]) -> None:
    """Keep how homes stand beside their peers; their lines are to be made anew."""
    with joined(connection, [site_id for site_id, _ in rows]):
        mark = _next_mark(connection)
        connection.executemany(
            "UPDATE home_lines SET peers = ?, made_of = '', mark = ? WHERE site_id = ?",
            [(peers, mark, site_id) for site_id, peers in rows],
        )


@names_faults
def save_told(
    connection: Connection,
    rows: Sequence[tuple[int, int, tuple[str, ...], bytes, str]],
    now_ms: int,
) -> None:
    """Keep what is told of homes: site, gravity, codes of reasons, the reasons, made of what."""
    with joined(connection, [row[0] for row in rows]):
        mark = _next_mark(connection)
        connection.executemany(
            """
            UPDATE home_lines
            SET gravity = ?, reasons = ?, told = ?, made_of = ?, made_ms = ?, mark = ?
            WHERE site_id = ?
            """,
            [
                (gravity, " ".join(reasons), told, made_of, now_ms, mark, site_id)
                for site_id, gravity, reasons, told, made_of in rows
            ],
        )


def _next_mark(connection: Connection) -> int:
    """Return a mark above all others, in the caller's transaction."""
    (mark,) = connection.execute("SELECT coalesce(max(mark), 0) + 1 FROM home_lines").fetchone()
    return int(mark)


@names_faults
def lines_stamp(connection: Connection) -> tuple[int, int, int]:
    """Return what changes whenever a line, or which homes there are, does."""
    row = connection.execute(
        f"""
        SELECT coalesce(max(mark), 0), count(*), (SELECT count(*) FROM sites WHERE {IS_WHOLE})
        FROM home_lines
        """  # noqa: S608 -- a condition of ours
    ).fetchone()
    mark, lines, homes = row
    return mark, lines, homes


@names_faults
def all_numbers(connection: Connection) -> list[HomeNumbers]:
    """Return the numbers of every home that has some, in the order of their ids."""
    rows = connection.execute(
        """
        SELECT site_id, numbers, peers, organisation_id
        FROM home_lines
        JOIN sites ON sites.id = site_id
        ORDER BY site_id
        """
    )
    return [HomeNumbers(*row) for row in rows]


@names_faults
def numbers_of(connection: Connection, site_ids: Sequence[int]) -> dict[int, HomeNumbers]:
    """Return the numbers of some homes, by site."""
    query = f"SELECT site_id, numbers, peers FROM home_lines WHERE site_id IN ({_SOME})"  # noqa: S608 -- marks
    rows = (row for some in _pieces(site_ids) for row in connection.execute(query, some))
    return {row[0]: HomeNumbers(*row) for row in rows}


@names_faults
def home_places(connection: Connection) -> list[HomePlace]:
    """Return all homes, those that need somebody most first, then by name."""
    rows = connection.execute(
        f"""
        SELECT sites.id, sites.name, home_lines.reasons, home_lines.gravity
        FROM sites
        LEFT JOIN home_lines ON home_lines.site_id = sites.id
        WHERE {IS_WHOLE}
        ORDER BY coalesce(home_lines.gravity, ?), sites.name
        """,  # noqa: S608 -- a condition of ours
        (NOT_TOLD,),
    )
    # Of ten thousand homes some dozens have different reasons.
    split = cache(lambda reasons: tuple((reasons or "").split()))
    return [
        HomePlace(site_id, name, split(reasons), gravity not in (None, NOT_TOLD))
        for site_id, name, reasons, gravity in rows
    ]


@names_faults
def home_lines(connection: Connection, site_ids: Sequence[int]) -> dict[int, HomeLine]:
    """Return what is told of some homes, by site; one without a line is not there."""
    found = {}
    for some in _pieces(site_ids):
        heard = dict(connection.execute(_HEARD, some).fetchall())
        for site_id, numbers, peers, told, made_ms in connection.execute(_LINES, some):
            found[site_id] = HomeLine(
                site_id=site_id,
                numbers=numbers,
                peers=peers,
                told=told,
                made_ms=made_ms,
                heard_ms=heard.get(site_id),
            )
    return found


_LINES = f"""
SELECT site_id, numbers, peers, told, made_ms
FROM home_lines
WHERE site_id IN ({_SOME})
"""  # noqa: S608 -- marks for values
_HEARD = f"""
SELECT devices.site_id, max(newest.at_ms)
FROM devices
JOIN series ON series.device_id = devices.id
JOIN newest ON newest.series_id = series.id
WHERE devices.site_id IN ({_SOME})
GROUP BY devices.site_id
"""  # noqa: S608 -- the same


def _pieces(site_ids: Sequence[int]) -> Iterator[list[int]]:
    """Yield so many ids that each of the marks has one."""
    rest = iter(site_ids)
    while some := list(islice(rest, _AT_ONCE)):
        yield some + some[-1:] * (_AT_ONCE - len(some))
