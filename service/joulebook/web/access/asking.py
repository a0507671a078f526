"""Who may change what; and what a form sent, once it is sure that he sent it."""

from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends, Request

from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import MOST_BYTES, Form
from joulebook.web.access.origin import check_origin, check_proof
from joulebook.web.access.parts import MOST_BYTES as MOST_WITH_FILE
from joulebook.web.access.parts import PARTS_TYPE, PartsError, parts_of
from joulebook.web.access.who import Asking
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Sited

#: What a form without files is sent as.
FORM_TYPE = "application/x-www-form-urlencoded"


async def owner_of(actor: Asking, site: Sited) -> Actor:
    """Return who asks, if he may change what is said of the site in the path."""
    if not actor.may_change(site.id):
        raise ProblemError(
            403,
            "not-yours",
            f"{actor.name} may see {site.name} and not change it",
            where=f"the site {site.name}",
            expected="an owner of the site",
            next_step="ask an owner to do it, or to make you one",
            link=f"/sites/{site.name}",
        )
    return actor


#: For handlers that change what is said of a site: its owner, or nobody gets in.
Owner = Annotated[Actor, Depends(owner_of)]


async def owned_site(site: Sited, _owner: Owner) -> Site:
    """Return the site in the path to somebody who may change what is said of it."""
    return site


Owned = Annotated[Site, Depends(owned_site)]


async def keeper_of(actor: Asking) -> Actor:
    """Return who asks, if he may add sites and people: to everything, or to an organisation."""
    if not actor.may_add():
        raise _not_his(actor)
    return actor


#: For handlers that concern several sites. What they show and take is of his organisations alone,
#: unless he may run the house.
Keeper = Annotated[Actor, Depends(keeper_of)]


async def housekeeper_of(actor: Asking) -> Actor:
    """Return who asks, if he may do everything."""
    if not actor.may_run_the_house():
        raise _not_his(actor)
    return actor


#: For handlers that concern every site.
Housekeeper = Annotated[Actor, Depends(housekeeper_of)]


def _not_his(actor: Actor) -> ProblemError:
    return ProblemError(
        403,
        "not-yours",
        f"{actor.name} may not change what concerns every site",
        where="this joulebook",
        expected="an owner of every site",
        next_step="ask one",
    )


async def onlooker_of(actor: Asking) -> Actor:
    """Return who asks, if he may see every site."""
    if actor.everywhere is None:
        raise ProblemError(
            403,
            "not-yours",
            f"{actor.name} may not see what concerns every site",
            where="this joulebook",
            expected="somebody who may see every site",
            next_step="open a site instead",
        )
    return actor


#: For handlers that show what is of every site, or of none.
Onlooker = Annotated[Actor, Depends(onlooker_of)]


async def form_of(request: Request, actor: Asking) -> Form:
    """Return the fields of a form that the browser of the one who asks has sent."""
    body = await _content(request, FORM_TYPE, MOST_BYTES)
    try:
        fields = parse_qsl(
            body.decode(), keep_blank_values=True, strict_parsing=bool(body), max_num_fields=200
        )
    except ValueError:
        raise _no_form(422, "the form is not of its form", FORM_TYPE, MOST_BYTES) from None
    form = Form(dict(fields))
    check_proof(form, actor)
    return form


Sent = Annotated[Form, Depends(form_of)]


async def form_with_file_of(request: Request, actor: Asking) -> Form:
    """Return the same of a form with a file in it."""
    body = await _content(request, PARTS_TYPE, MOST_WITH_FILE)
    try:
        parts = parts_of(request.headers["content-type"], body)
    except PartsError:
        raise _no_form(422, "the form is not of its form", PARTS_TYPE, MOST_WITH_FILE) from None
    form = Form(parts.texts, parts.files)
    check_proof(form, actor)
    return form


SentFile = Annotated[Form, Depends(form_with_file_of)]


async def _content(request: Request, wanted: str, most: int) -> bytes:
    """Return what was sent, if it comes from a page of ours and is of the type that is wanted."""
    check_origin(request)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != wanted:
        raise _no_form(415, f"the content is {kind[:80] or 'of no type'!r}", wanted, most)
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise _no_form(413, f"the form is longer than {most} bytes", wanted, most)
    return bytes(body)


def _no_form(status: int, what: str, wanted: str, most: int) -> ProblemError:
    return ProblemError(
        status,
        "not-a-form",
        what,
        where="the request's content",
        expected=f"{wanted}, at most {most} bytes",
        next_step="use the form on the page",
    )
