"""A change, and the note of who made it, on disk together or not at all."""

from collections.abc import Iterator
from contextlib import closing, contextmanager

from joulebook.storage.audit import Audited, note_change
from joulebook.storage.database import Connection, transaction
from joulebook.web.access.actor import Actor
from joulebook.web.backing import Backing


@contextmanager
def noted_change(
    backing: Backing,
    actor: Actor,
    action: str,
    *,
    site: str | None = None,
    detail: str = "",
    organisation_id: int | None = None,
) -> Iterator[Connection]:
    """Give a connection whose transaction also notes the change.

    Parameters
    ----------
    action : str
        A few words, verb first, as ``add person``.
    site : str, optional
        The name of the site that it is about.
    detail : str
        What was set to what; no secrets.
    organisation_id : int, optional
        The organisation that it is about, where it is about no site.
    """
    with closing(backing.database.connect()) as connection, transaction(connection):
        yield connection
        note_change(
            connection,
            Audited(
                at_ms=backing.clock_ms(),
                who=actor.name,
                site=site,
                action=action,
                detail=detail,
                organisation_id=organisation_id,
            ),
        )
