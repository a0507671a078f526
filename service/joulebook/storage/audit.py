"""The audit log: what was changed, by whom and when. Rows are added and never edited."""

from collections.abc import Collection
from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined, listed
from joulebook.storage.faults import names_faults

_LONGEST_DETAIL = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """A change that somebody made.

    Attributes
    ----------
    at_ms : int
        When. [ms, UTC epoch]
    who : str
        The person's or program's name; ``command line`` for whoever could start a command.
    site : str or None
        The site's name then; ``None`` for what concerns every site.
    action : str
        A few words, verb first, as ``add event``.
    detail : str
        What was set to what, without secrets; cut at 500 characters.
    organisation_id : int or None
        The organisation that it is about, where there is no site; else that of the site is noted.
    """

    at_ms: int
    who: str
    site: str | None
    action: str
    detail: str = ""
    organisation_id: int | None = None


@names_faults
def note_change(connection: Connection, change: Audited) -> None:
    """Add a change to the log, in the transaction that makes it where there is one."""
    with joined(connection):
        connection.execute(
            """
            INSERT INTO audit (at_ms, who, site, action, detail, organisation_id)
            VALUES (?, ?, ?, ?, ?, coalesce(
                ?, (SELECT organisation_id FROM sites WHERE name = ?)
            ))
            """,
            (
                *(change.at_ms, change.who, change.site, change.action),
                change.detail[:_LONGEST_DETAIL],
                *(change.organisation_id, change.site),
            ),
        )


@names_faults
def audit_log(
    connection: Connection,
    *,
    site: str | None = None,
    organisation_ids: Collection[int] | None = None,
    most: int = 200,
    skip: int = 0,
) -> list[Audited]:
    """Return changes, the newest first: those of one site, or those of some organisations, or all.

    A change is of the organisation to which its site belonged when it was made.
    """
    condition = "? IS NULL OR site = ?"
    values: tuple[object, ...] = (site, site)
    if organisation_ids is not None:
        among, ids = listed(connection, sorted(organisation_ids))
        condition, values = f"organisation_id IN {among}", (ids,)
    rows = connection.execute(
        f"""
        SELECT at_ms, who, site, action, detail, organisation_id
        FROM audit
        WHERE {condition}
        ORDER BY id DESC
        LIMIT ? OFFSET ?
        """,  # noqa: S608 -- conditions of ours
        (*values, most, skip),
    )
    return [
        Audited(
            at_ms=at_ms, who=who, site=name, action=action, detail=detail, organisation_id=number
        )
        for at_ms, who, name, action, detail, number in rows
    ]
