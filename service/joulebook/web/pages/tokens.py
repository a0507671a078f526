"""The tokens of a site: made, shown once, and revoked."""

from contextlib import closing
from typing import Annotated, get_args

from fastapi import APIRouter, Path
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.records import Scope, Site
from joulebook.storage.tokens import insert_token, revoke_token, tokens_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.pages.records import record_page
from joulebook.web.sites import Backed
from joulebook.web.words.secret_sentences import SCOPES, TOKENS_DONE, around_token

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/tokens")


@router.get("")
def tokens_page(site: Owned, actor: Owner, backing: Backed, done: str = "") -> Response:
    """Show the tokens, and the form to make one."""
    return _page(backing, site, actor, Form(), done=TOKENS_DONE.get(done))


@router.post("")
def make_token(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Make a token and show its secret, once."""
    name = form.text("name", most=63, needed=True)
    asked = form.choice("scope", tuple(SCOPES))
    if form.errors:
        return _page(backing, site, actor, form)
    scope: Scope = next(each for each in get_args(Scope) if each == asked)
    detail = f"{name}, for {SCOPES[scope]}"
    try:
        with noted_change(
            backing, actor, "make token", site=site.name, detail=detail
        ) as connection:
            now_ms = backing.clock_ms()
            secret = insert_token(connection, site, name, scope=scope, now_ms=now_ms)
    except UsageError as error:
        form.refuse(error, "name")
        return _page(backing, site, actor, form)
    around = around_token(name, scope)
    page = record_page(
        backing,
        site,
        "secret.html",
        current="setup",
        title=around.title,
        lead=around.lead,
        secret=secret,
        words=around.words,
        back=(f"/sites/{site.name}/setup/tokens", around.back),
    )
    return HTMLResponse(page, headers={"Cache-Control": "no-store"})


@router.post("/{number}/revoke")
def revoke(
    number: Annotated[int, Path(ge=1, le=2**53)],
    site: Owned,
    actor: Owner,
    form: Sent,
    backing: Backed,
) -> Response:
    """Revoke a token."""
    try:
        with noted_change(
            backing, actor, "revoke token", site=site.name, detail=f"number {number}"
        ) as connection:
            revoke_token(connection, number, now_ms=backing.clock_ms(), site_id=site.id)
    except UsageError as error:
        form.refuse(error)
        return _page(backing, site, actor, form)
    return RedirectResponse(f"/sites/{site.name}/setup/tokens?done=revoked", 303)


def _page(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> Response:
    with closing(backing.database.connect()) as connection:
        there = tokens_of(connection, site.id)
    page = record_page(
        backing,
        site,
        "setup/tokens.html",
        current="setup",
        actor=actor,
        form=form,
        tokens=[one for one in there if one.revoked_ms is None],
        revoked=[one for one in there if one.revoked_ms is not None],
        scopes=SCOPES,
        done=done,
    )
    return HTMLResponse(page, 422 if form.errors else 200)
