"""Finds out who a request comes from: this machine, a session, a token, or nobody."""

import base64
import hashlib
import re
from contextlib import closing
from dataclasses import replace

from starlette.requests import Request

from joulebook.ingest.throttle import Throttle
from joulebook.storage.narrowing import Narrowing
from joulebook.storage.organisations import site_id_of, sites_inside
from joulebook.storage.people import has_owner
from joulebook.storage.records import Grant
from joulebook.storage.sessions import session_of
from joulebook.storage.shares import Share, share_numbered, share_of
from joulebook.storage.tokens import check_token
from joulebook.web.access.actor import NOBODY, Actor
from joulebook.web.access.cookies import session_secret
from joulebook.web.access.credentials import credentials_of
from joulebook.web.access.direct import is_direct
from joulebook.web.access.openly import takes_tokens
from joulebook.web.access.sharing import SHARED, actor_of_share
from joulebook.web.access.who import Asked
from joulebook.web.backing import backing_in
from joulebook.web.problems import ProblemError

_SITE = re.compile(r"(?:/api/v1)?/sites/([a-z0-9-]+)")
HOUSE = Actor(name="this machine", kind="house", everywhere="owner", watches=True)


class Knowing:
    """Knows who asks. It reads the database, so call it in a thread.

    Parameters
    ----------
    guesses : Throttle
        Of those who guess at tokens.
    """

    def __init__(self, guesses: Throttle) -> None:
        self._guesses = guesses
        self._owned = False  # once there is an owner, there always is

    def who(self, request: Request) -> Asked:
        """Return who asks, and for what: a link that shares a page stands for the page.

        Raises
        ------
        ProblemError
            If too many tokens were guessed, or a link is good no longer.
        """
        address = asked_address(request)
        share_id = backing_in(request).seals.share_of(address)
        if request.url.path.startswith(SHARED) or share_id is not None:
            share = self._share(request, share_id)
            actor, address = actor_of_share(share), share.page if share_id is None else address
        else:
            actor = self._actor(request)
        return Asked(actor, address, self._reads(request, address.partition("?")[0], actor))

    def _actor(self, request: Request) -> Actor:
        direct = is_direct(request)
        grant = self._grant(request)
        if direct and (backing_in(request).rules.demonstration or not self.is_owned(request)):
            return replace(HOUSE, grant=grant)
        if grant is not None:
            return self._program(request, grant)
        if takes_tokens(request.url.path) and "authorization" in request.headers:
            return NOBODY  # a program with a token that does not count is nobody else either
        return replace(self._person(request), watches=direct)

    def _share(self, request: Request, share_id: int | None) -> Share:
        """Return the link that an address is, or that it was sealed for."""
        backing = backing_in(request)
        now_ms, secret = backing.clock_ms(), request.url.path.removeprefix(SHARED)
        with closing(backing.database.connect()) as connection:
            share = (
                share_of(connection, secret, now_ms=now_ms)
                if share_id is None
                else share_numbered(connection, share_id, now_ms=now_ms)
            )
        if share is None or request.method != "GET":
            raise _good_no_longer()
        return share

    def is_owned(self, request: Request) -> bool:
        """Tell whether there is an owner, without whom nobody can sign in."""
        if not self._owned:
            with closing(backing_in(request).database.connect()) as connection:
                self._owned = has_owner(connection)
        return self._owned

    def _reads(self, request: Request, path: str, actor: Actor) -> Narrowing | None:
        """Return whose rows the handler of a path may read, whatever it asks the database for.

        Of many sites the one that the path names, where he may see it: less to keep apart, and
        for ten thousand sites a tenth of the time (docs/decisions/0020-tenants.md).
        """
        if path == "/readyz" or (path == "/metrics" and actor.may_watch()):
            return None  # how the service does concerns every site; what is told of it is checked
        database, named = backing_in(request).database, _SITE.match(path)
        if actor.everywhere is None and len(actor.at) > 1 and named and database.server is not None:
            with closing(database.connect()) as connection:
                site_id = site_id_of(connection, named[1])
            if site_id is not None and actor.may_see(site_id):
                return Narrowing(frozenset({site_id}))
        return actor.narrowing()

    def _grant(self, request: Request) -> Grant | None:
        header = request.headers.get("authorization")
        if header is None or not takes_tokens(request.url.path):
            return None
        given = credentials_of(header)
        if given is None:
            return None
        name, secret = given
        backing, now_ms = backing_in(request), backing_in(request).clock_ms()
        account, address = name or "", address_of(request)
        wait_s = self._guesses.attempt(account, address, now_s=now_ms / 1000)
        if wait_s > 0:
            raise too_many(wait_s)
        grant = check_token(backing.database, name, secret, now_ms=now_ms)
        if grant is not None:
            self._guesses.succeeded(account, address)
        return grant

    def _person(self, request: Request) -> Actor:
        backing = backing_in(request)
        secret = session_secret(request, backing.rules)
        if not secret:
            return NOBODY
        with closing(backing.database.connect()) as connection:
            found = session_of(connection, secret, now_ms=backing.clock_ms())
        if found is None:
            return NOBODY
        return Actor(
            name=found.name,
            kind="person",
            everywhere=found.everywhere,
            inside=found.inside,
            at=found.at,
            proof=proof_of(secret),
            person_id=found.person_id,
            session_id=found.session_id,
        )

    def _program(self, request: Request, grant: Grant) -> Actor:
        if grant.scope != "read":
            return Actor(
                name=grant.name, kind="token", grant=grant, watches=grant.scope == "metrics"
            )
        if grant.organisation_id is not None:
            with closing(backing_in(request).database.connect()) as connection:
                inside = sites_inside(connection, grant.organisation_id)
            return Actor(
                name=grant.name,
                kind="token",
                inside={grant.organisation_id: "viewer"},
                at=dict.fromkeys(inside, "viewer"),
                grant=grant,
            )
        return Actor(
            name=grant.name,
            kind="token",
            everywhere=None if grant.site else "viewer",
            at={grant.site_id: "viewer"} if grant.site else {},
            grant=grant,
        )


def proof_of(secret: str) -> str:
    """Return what the forms of a session must hold; the session's secret does not follow of it."""
    digest = hashlib.sha256(b"proof " + secret.encode("utf-8", "surrogatepass")).digest()
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def address_of(request: Request) -> str:
    """Return the address that a request came from."""
    return "" if request.client is None else request.client.host


def too_many(wait_s: float) -> ProblemError:
    """Return what is told to somebody who has to wait before the next attempt."""
    seconds = max(1, round(wait_s + 0.5))
    return ProblemError(
        429,
        "too-many-attempts",
        "too many attempts failed, and this one was not looked at",
        where="the name, or the address that you ask from",
        expected=f"the next attempt in {seconds} s",
        next_step="wait, and try again with the right one",
        headers={"Retry-After": str(seconds)},
    )


def asked_address(request: Request) -> str:
    """Return the path and query that a request asks for."""
    query = f"?{request.url.query}" if request.url.query else ""
    return f"{request.url.path}{query}"


def _good_no_longer() -> ProblemError:
    return ProblemError(
        404,
        "not-found",
        "this link is good no longer",
        where="the address",
        expected="a link to a page that was not revoked and has not ended",
        next_step="ask whoever gave it to you for a new one",
        link="/sign-in",
    )
