"""What was changed at a site: listed, noted and taken back; noted from a day's page too."""

from contextlib import closing
from datetime import datetime
from typing import cast

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.core.spans import date_of
from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.event_photos import MOST_OF_AN_EVENT, photos_of
from joulebook.storage.events import (
    KINDS,
    LONGEST_NOTE,
    LONGEST_TITLE,
    Event,
    EventKind,
    add_event,
    events_of,
    remove_event,
)
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import gone_to, shown_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.event_texts import KIND_WORDS, LABELS, local_minute, what_it_does

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/events")


@router.get("")
def events_page(
    site: Sited, actor: Asking, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """List them, with the form for one more."""
    return _page(backing, site, actor, Form(), done=done)


@router.post("")
def note_event(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Note one, and lead back to the page on which it was written."""
    now_ms = backing.clock_ms()
    wanted = Event(
        id=0,
        at_ms=form.moment("at", site.zone) or now_ms,
        kind=cast(EventKind, form.choice("kind", KINDS)),
        title=form.text("title", most=LONGEST_TITLE, needed=True),
        note=form.text("note", most=LONGEST_NOTE),
        made_ms=now_ms,
    )
    if form.errors or not _noted(backing, site, actor, form, wanted):
        return _page(backing, site, actor, form)
    if form.fields.get("back") == "day":
        day = date_of(wanted.at_ms, site.zone)
        return RedirectResponse(f"/sites/{site.name}/days/{day}?done=noted", 303)
    return gone_to(site, "/events", "noted")


@router.post("/{number}/remove")
def take_back(site: Owned, actor: Owner, number: int, _form: Sent, backing: Backed) -> Response:
    """Take one back that never happened."""
    now_ms = backing.clock_ms()
    with closing(backing.database.connect()) as connection, transaction(connection):
        gone = remove_event(connection, site, number, now_ms=now_ms)
        note_change(connection, _audited(site, actor, "remove event", gone, now_ms))
    return gone_to(site, "/events", "removed")


def _noted(backing: Backing, site: Site, actor: Actor, form: Form, wanted: Event) -> bool:
    try:
        with closing(backing.database.connect()) as connection, transaction(connection):
            added = add_event(connection, site, wanted)
            note_change(connection, _audited(site, actor, "add event", added, wanted.made_ms))
    except UsageError as error:
        form.refuse(error, error.where if error.where in LABELS else "")
        return False
    return True


def _audited(site: Site, actor: Actor, action: str, event: Event, now_ms: int) -> Audited:
    at = datetime.fromtimestamp(event.at_ms / 1000, tz=site.zone)
    detail = f"{event.kind}, {at:%Y-%m-%d %H:%M}: {event.title}"
    return Audited(at_ms=now_ms, who=actor.name, site=site.name, action=action, detail=detail)


def _page(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        there = events_of(connection, site.id, removed=True)
        photos = photos_of(connection, site.id)
    return shown_page(
        *(backing, site, "events"),
        actor=actor,
        form=form,
        done=done,
        events=[
            (each, date_of(each.at_ms, site.zone)) for each in there if each.removed_ms is None
        ][::-1],
        removed=[each for each in there if each.removed_ms is not None][::-1],
        photos_of=photos,
        most_photos=MOST_OF_AN_EVENT,
        kind_words=KIND_WORDS,
        labels=LABELS,
        effect=what_it_does,
        now=local_minute(backing.clock_ms(), site),
    )
