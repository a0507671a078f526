"""What could not be stored, why, and what to do next."""

from contextlib import closing
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse

from joulebook.ingest.trying_again import try_again
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.quarantine import quarantine_count, quarantined, set_aside
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Onlooker, Owned, Owner, Sent
from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_page
from joulebook.web.backing import Backing
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import texts

router = APIRouter(include_in_schema=False)

_PER_PAGE = 50
_SHOWN = 240  # characters of a text, or bytes


@router.get("/sites/{site}/quarantine")
def quarantine_page(
    site: Sited, backing: Backed, actor: Asking, page: str = "1", stored: int | None = None
) -> HTMLResponse:
    """Show what was set aside of a site, the newest first; and how many are ``stored`` now."""
    return _page(backing, actor, site, page, stored=stored)


@router.post("/sites/{site}/quarantine/again")
def try_site_again(site: Owned, actor: Owner, form: Sent, backing: Backed) -> RedirectResponse:
    """Store what can be stored by now of what was set aside, and lead back to what is left."""
    del form  # it holds only the proof
    tried = try_again(backing.database, site.id, clock_ms=backing.clock_ms)
    audited = Audited(
        at_ms=backing.clock_ms(),
        who=actor.name,
        site=site.name,
        action="try again what was set aside",
        detail=f"{tried.stored} of {tried.tried} stored",
    )
    with closing(backing.database.connect()) as connection:
        note_change(connection, audited)
    backing.wrote()
    return RedirectResponse(f"/sites/{site.name}/quarantine?stored={tried.stored}", 303)


@router.get("/quarantine")
def whole_quarantine_page(backing: Backed, actor: Onlooker, page: str = "1") -> HTMLResponse:
    """Show what was set aside of all sites, and of none: where the site could not be told."""
    return _page(backing, actor, None, page)


def _page(
    backing: Backing, actor: Actor, site: Site | None, page: str, *, stored: int | None = None
) -> HTMLResponse:
    address = "/quarantine" if site is None else f"/sites/{site.name}/quarantine"
    site_id = None if site is None else site.id
    number = asked_page(page, link=address)
    with closing(backing.database.connect()) as connection:
        by_reason = set_aside(connection, site_id)
        everywhere = quarantine_count(connection, None)
        kept = quarantined(connection, site_id, limit=_PER_PAGE, offset=(number - 1) * _PER_PAGE)
    count = sum(each.kept for each in by_reason)
    let_go = [(texts.refusal(each.reason).title, each.let_go) for each in by_reason if each.let_go]
    entries = [
        {
            "kept": each,
            "payload": shown_payload(each.refused.payload),
            "refusal": texts.refusal(each.refused.reason),
        }
        for each in kept
    ]
    return HTMLResponse(
        backing.render(
            "quarantine.html",
            site=site,
            zone=ZoneInfo("UTC") if site is None else site.zone,
            address=address,
            count=count,
            let_go=let_go,
            stored=stored,
            may_try=site is not None and actor.may_change(site.id),
            elsewhere=everywhere - count if actor.everywhere else 0,
            entries=entries,
            page=number,
            older=number * _PER_PAGE < count,
            set_aside=count,
            current="quarantine",
        )
    )


def shown_payload(payload: bytes) -> str:
    """Return the start of a payload: as text where it is text, else as hexadecimal numbers."""
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        text = "\0"
    readable = all(each.isprintable() or each in "\t\r\n" for each in text)
    shown = text[:_SHOWN] if readable else payload[:_SHOWN].hex(" ")
    cut = len(text if readable else payload) > _SHOWN
    return f"{shown} … ({len(payload)} bytes)" if cut else shown
