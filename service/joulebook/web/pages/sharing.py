"""The links that share pages of a site: made, shown once, and revoked."""

from contextlib import closing
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.records import Site
from joulebook.storage.shares import add_share, revoke_share, shares_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.forms import Form
from joulebook.web.access.links import link_to
from joulebook.web.access.sharing import SHARED, can_be_shared
from joulebook.web.backing import Backing
from joulebook.web.pages.records import record_page
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.secret_sentences import DAYS, SHARES_DONE, around_link

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/shares")

_DAY_MS = 86_400_000


@router.get("")
def shares_page(
    site: Owned, actor: Owner, backing: Backed, page: str = "", done: str = ""
) -> Response:
    """Show the links there are, and the form to make one for a page."""
    return _page(backing, site, actor, Form(), page=page, done=SHARES_DONE.get(done))


@router.post("")
def make_share(
    request: Request, site: Owned, actor: Owner, form: Sent, backing: Backed
) -> Response:
    """Make a link and show it, once."""
    page = form.text("page", most=200, needed=True)
    days = int(form.choice("days", tuple(DAYS)))
    if not form.errors and not _is_of(site, page):
        form.errors["page"] = faults.A_PAGE
    if form.errors:
        return _page(backing, site, actor, form, page=page)
    detail = f"{page}, for {DAYS[str(days)]}"
    with noted_change(backing, actor, "share page", site=site.name, detail=detail) as connection:
        secret = add_share(
            connection,
            site,
            page,
            made_by=actor.name,
            now_ms=backing.clock_ms(),
            lasts_ms=days * _DAY_MS,
        )
    around = around_link(page, str(days))
    shown = record_page(
        backing,
        site,
        "secret.html",
        current="setup",
        title=around.title,
        lead=around.lead,
        secret=link_to(f"{SHARED}{secret}", request, backing.rules),
        words=around.words,
        back=(f"/sites/{site.name}/shares", around.back),
    )
    return HTMLResponse(shown, headers={"Cache-Control": "no-store"})


@router.post("/{number}/revoke")
def revoke(
    number: Annotated[int, Path(ge=1, le=2**53)],
    site: Owned,
    actor: Owner,
    form: Sent,
    backing: Backed,
) -> Response:
    """Revoke a link."""
    try:
        with noted_change(
            backing, actor, "revoke link", site=site.name, detail=f"number {number}"
        ) as connection:
            revoke_share(connection, site, number, now_ms=backing.clock_ms())
    except UsageError as error:
        form.refuse(error)
        return _page(backing, site, actor, form, page="")
    return RedirectResponse(f"/sites/{site.name}/shares?done=revoked", 303)


def _is_of(site: Site, page: str) -> bool:
    below = page.removeprefix(f"/sites/{site.name}")
    return below != page and below[:1] in ("", "/", "?") and can_be_shared(page)


def _page(
    backing: Backing,
    site: Site,
    actor: Actor,
    form: Form,
    *,
    page: str,
    done: str | None = None,
) -> Response:
    now_ms = backing.clock_ms()
    with closing(backing.database.connect()) as connection:
        there = shares_of(connection, site.id)
    shown = record_page(
        backing,
        site,
        "shares.html",
        current="setup",
        actor=actor,
        form=form,
        page=page if _is_of(site, page) else "",
        shares=[one for one in there if one.revoked_ms is None and one.ends_ms > now_ms],
        days=tuple(DAYS.items()),
        done=done,
    )
    return HTMLResponse(shown, 422 if form.errors else 200)
