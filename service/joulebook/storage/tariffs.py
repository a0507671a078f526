"""What energy costs at a site: versions of its tariff, added and withdrawn, never edited."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

from joulebook.core.money.tariff import Tariff
from joulebook.core.money.tariff_text import document_of, tariff_of
from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site

LONGEST_NOTE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class TariffVersion:
    """A version of a site's tariff.

    Attributes
    ----------
    id : int
        By which it is withdrawn.
    tariff : Tariff
        It holds from its first day until the first day of the next version.
    note : str
        What else there is to say, as where it was read.
    made_ms, withdrawn_ms : int, and int or None
        When it was entered, and taken back. [ms, UTC epoch]
    """

    id: int
    tariff: Tariff
    note: str = ""
    made_ms: int
    withdrawn_ms: int | None = None


@names_faults
def add_tariff(connection: Connection, site: Site, wanted: TariffVersion) -> TariffVersion:
    """Add a version of a site's tariff.

    Parameters
    ----------
    wanted : TariffVersion
        What to add, its tariff checked; its ``id`` is not used.

    Raises
    ------
    UsageError
        If a version begins on the same day already, or the note is too long.
    """
    if len(wanted.note) > LONGEST_NOTE:
        raise UsageError(
            "the note is too long",
            where="note",
            expected=f"at most {LONGEST_NOTE} characters",
            next_step="shorten it; nothing was stored",
        )
    with joined(connection):
        for there in tariffs_of(connection, site.id):
            if there.tariff.from_day == wanted.tariff.from_day:
                raise UsageError(
                    f"tariff {there.id} begins on {there.tariff.from_day} already",
                    where="from",
                    expected="a day on which no other version begins",
                    next_step=f"withdraw tariff {there.id} first if it is wrong",
                )
        (number,) = connection.execute(
            """
            INSERT INTO tariffs (site_id, from_day, terms, note, made_ms)
            VALUES (?, ?, ?, ?, ?)
            RETURNING id
            """,
            (
                *(site.id, wanted.tariff.from_day.isoformat()),
                *(json.dumps(document_of(wanted.tariff)), wanted.note, wanted.made_ms),
            ),
        ).fetchone()
        return replace(wanted, id=int(number))


@names_faults
def withdraw_tariff(
    connection: Connection, site: Site, tariff_id: int, *, now_ms: int
) -> TariffVersion:
    """Withdraw a version: from now on the one before it holds. Its row stays.

    Raises
    ------
    UsageError
        If the site has no such version, or it was withdrawn before.
    """
    with joined(connection):
        there = {one.id: one for one in tariffs_of(connection, site.id)}
        if tariff_id not in there:
            raise UsageError(
                f"site {site.name} has no tariff {tariff_id}",
                where="tariff",
                expected="one of " + ", ".join(map(str, there)) if there else "a tariff",
                next_step="list them with `joulebook tariff list`",
            )
        connection.execute("UPDATE tariffs SET withdrawn_ms = ? WHERE id = ?", (now_ms, tariff_id))
        return replace(there[tariff_id], withdrawn_ms=now_ms)


@names_faults
def tariffs_of(
    connection: Connection, site_id: int, *, withdrawn: bool = False
) -> list[TariffVersion]:
    """Return a site's versions in the order of their first days; withdrawn ones if asked for."""
    rows = connection.execute(
        """
        SELECT id, terms, note, made_ms, withdrawn_ms
        FROM tariffs
        WHERE site_id = ? AND (? OR withdrawn_ms IS NULL)
        ORDER BY from_day, id
        """,
        (site_id, withdrawn),
    )
    return [
        TariffVersion(
            id=number,
            tariff=tariff_of(json.loads(terms)),
            note=note,
            made_ms=made_ms,
            withdrawn_ms=withdrawn_ms,
        )
        for number, terms, note, made_ms, withdrawn_ms in rows
    ]


def in_force(versions: Sequence[TariffVersion]) -> list[Tariff]:
    """Return the tariffs that were not withdrawn, in the order of their first days."""
    return [each.tariff for each in versions if each.withdrawn_ms is None]
