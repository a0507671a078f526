"""Signing in and out: a password becomes a session, and a session ends."""

import logging
from contextlib import closing

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from joulebook.ingest.pace import neighbourhood
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.database import Connection, transaction
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.storage.passwords import password_fits
from joulebook.storage.people import folded, password_of
from joulebook.storage.sessions import close_session, has_signed_in_from, open_session
from joulebook.web.access.actor import Actor
from joulebook.web.access.cookies import keep_session
from joulebook.web.access.knowing import address_of, too_many
from joulebook.web.backing import Backing

_log = logging.getLogger(__name__)


def try_password(
    backing: Backing, request: Request, name: str, password: str
) -> tuple[int, str] | None:
    """Return id and name of the person whose name and password these are, or ``None``.

    Raises
    ------
    ProblemError
        If he has to wait, for too many attempts at this name or from this address failed.
    """
    account, address = folded(name)[:80], address_of(request)
    now_s = backing.clock_ms() / 1000
    whose = Narrowing(signing_in=folded(name))
    with narrowed(whose), closing(backing.database.connect()) as connection:
        found = password_of(connection, name)
        wait_s = backing.sign_ins.attempt(account, address, now_s=now_s)
        # Where he is signed in already, strangers elsewhere do not delay him.
        if wait_s and found and has_signed_in_from(connection, found[0], neighbourhood(address)):
            backing.sign_ins.know(account, address)
            wait_s = backing.sign_ins.attempt(account, address, now_s=now_s)
    if wait_s:
        raise too_many(wait_s)
    if not password_fits(password, found and found[2]) or found is None:
        # Not a name that nobody has: it may be a password in the wrong field.
        whom = repr(account) if found else "somebody who is not known here"
        _log.warning("somebody at %s could not sign in as %s", address, whom)
        return None
    backing.sign_ins.succeeded(account, address)
    return found[:2]


def begin_session(
    connection: Connection, backing: Backing, request: Request, *, person_id: int, was: Actor
) -> str:
    """Return the secret of a new session; an earlier one of the same browser ends."""
    if was.session_id is not None:
        close_session(connection, was.session_id)
    return open_session(
        connection,
        person_id,
        address=neighbourhood(address_of(request)),
        agent=request.headers.get("user-agent", ""),
        now_ms=backing.clock_ms(),
    )


def signed_in(
    backing: Backing, request: Request, *, person_id: int, name: str, was: Actor, to: str
) -> Response:
    """Begin a session in the browser that asks, and send it on to a page of ours."""
    # Who he is was just proven; and who was signed in here before goes.
    whose = {person_id} if was.person_id is None else {person_id, was.person_id}
    with (
        narrowed(Narrowing(people=frozenset(whose))),
        closing(backing.database.connect()) as connection,
        transaction(connection),
    ):
        secret = begin_session(connection, backing, request, person_id=person_id, was=was)
        note_change(
            connection,
            Audited(
                at_ms=backing.clock_ms(),
                who=name,
                site=None,
                action="sign in",
                detail=f"from {address_of(request)}",
            ),
        )
    answer = RedirectResponse(to, 303)
    keep_session(answer, secret, request, backing.rules)
    return answer


def own_path(address: str) -> str:
    r"""Return an address of ours to go on to; the first page where it leads elsewhere.

    Browsers take ``//host``, ``/\host`` and addresses with control characters for other places.
    """
    plain = address.isprintable() and address.isascii() and "\\" not in address
    return address if plain and address.startswith("/") and address[1:2] != "/" else "/"
