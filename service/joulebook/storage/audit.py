"""The audit log: what was changed, by whom and when. Rows are added and never edited."""

from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined
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
    """

    at_ms: int
    who: str
    site: str | None
    action: str
    detail: str = ""


@names_faults
def note_change(connection: Connection, change: Audited) -> None:
    """Add a change to the log, in the transaction that makes it where there is one."""
    with joined(connection):
        connection.execute(
            "INSERT INTO audit (at_ms, who, site, action, detail) VALUES (?, ?, ?, ?, ?)",
            (
                *(change.at_ms, change.who, change.site, change.action),
                change.detail[:_LONGEST_DETAIL],
            ),
        )


@names_faults
def audit_log(
    connection: Connection, *, site: str | None = None, most: int = 200, skip: int = 0
) -> list[Audited]:
    """Return changes, the newest first; those of one site, or all."""
    rows = connection.execute(
        """
        SELECT at_ms, who, site, action, detail
        FROM audit
        WHERE ? IS NULL OR site = ?
        ORDER BY id DESC
        LIMIT ? OFFSET ?
        """,
        (site, site, most, skip),
    )
    return [
        Audited(at_ms=at_ms, who=who, site=name, action=action, detail=detail)
        for at_ms, who, name, action, detail in rows
    ]
