"""Photos of an event: shown to whoever sees the site, added and removed by its owner."""

from contextlib import closing

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import Connection, transaction
from joulebook.storage.event_photos import (
    LONGEST_CAPTION,
    MOST_OF_AN_EVENT,
    EventPhoto,
    add_photo,
    jpeg_of,
    photos_of,
    remove_photo,
)
from joulebook.storage.events import Event, event_numbered
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent, SentFile
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import shown_page
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import photo_texts as texts
from joulebook.web.words.event_texts import KIND_WORDS

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/events/{number}/photos")

#: Asked for anew each time, so that it is looked at each time who asks; sent anew if it changed.
_CACHING = "private, no-cache"


@router.get("")
def photos_page(
    site: Sited, actor: Asking, number: int, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """Show them, with the form for one more."""
    return _page(backing, site, actor, number, Form(), done=done)


@router.post("")
def add(site: Owned, actor: Owner, number: int, form: SentFile, backing: Backed) -> Response:
    """Add one."""
    caption = form.text("caption", most=LONGEST_CAPTION, needed=True)
    sent = form.file("photo")
    with closing(backing.database.connect()) as connection:
        event = _event(connection, site, number)
    if form.errors or not _added(backing, site, actor, event, form, caption, sent):
        return _page(backing, site, actor, number, form)
    return _back(site, number, "added")


@router.post("/{photo}/remove")
def remove(
    site: Owned, actor: Owner, number: int, photo: int, _form: Sent, backing: Backed
) -> Response:
    """Delete one for good."""
    with closing(backing.database.connect()) as connection, transaction(connection):
        event = _event(connection, site, number)
        gone = _photo(connection, site, number, photo)
        remove_photo(connection, site, gone)
        change = _audited(backing, site, actor, "remove photo", event, gone)
        note_change(connection, change)
    return _back(site, number, "removed")


@router.get("/{photo}/full.jpg")
def full(site: Sited, number: int, photo: int, request: Request, backing: Backed) -> Response:
    """Return one as it is kept."""
    return _image(backing, site, number, photo, request, is_small=False)


@router.get("/{photo}/small.jpg")
def thumbnail(site: Sited, number: int, photo: int, request: Request, backing: Backed) -> Response:
    """Return one as it is shown in a list."""
    return _image(backing, site, number, photo, request, is_small=True)


def _image(
    backing: Backing, site: Site, number: int, photo: int, request: Request, *, is_small: bool
) -> Response:
    with closing(backing.database.connect()) as connection:
        found = _photo(connection, site, number, photo)
        tag = f'"{found.sha256[:32]}{"-small" if is_small else ""}"'
        headers = {"ETag": tag, "Cache-Control": _CACHING}
        if request.headers.get("if-none-match") == tag:
            return Response(status_code=304, headers=headers)
        jpeg = jpeg_of(connection, found)
    if is_small:
        from joulebook.storage.pictures import small  # here, for its decoder takes 5 MB

        jpeg = small(jpeg)
    headers["Content-Disposition"] = f'inline; filename="{site.name}-{number}-{photo}.jpg"'
    return Response(jpeg, headers=headers, media_type="image/jpeg")


def _added(
    backing: Backing,
    site: Site,
    actor: Actor,
    event: Event,
    form: Form,
    caption: str,
    sent: bytes,
) -> bool:
    from joulebook.storage.pictures import taken_in  # here, for its decoder takes 5 MB

    try:
        picture = taken_in(sent)
        with closing(backing.database.connect()) as connection, transaction(connection):
            photo = add_photo(
                connection, site, event, picture, caption=caption, now_ms=backing.clock_ms()
            )
            note_change(connection, _audited(backing, site, actor, "add photo", event, photo))
    except UsageError as error:
        form.refuse(error, error.where if error.where in texts.LABELS else "")
        return False
    return True


def _audited(
    backing: Backing, site: Site, actor: Actor, action: str, event: Event, photo: EventPhoto
) -> Audited:
    return Audited(
        at_ms=backing.clock_ms(),
        who=actor.name,
        site=site.name,
        action=action,
        detail=f"{event.title}: {photo.caption} (SHA-256 {photo.sha256[:12]}…)",
    )


def _event(connection: Connection, site: Site, number: int) -> Event:
    try:
        return event_numbered(connection, site, number)
    except UsageError as error:
        raise _not_there(site, error.what, "an event that the page lists") from error


def _photo(connection: Connection, site: Site, number: int, photo: int) -> EventPhoto:
    for each in photos_of(connection, site.id).get(number, ()):
        if each.id == photo:
            return each
    raise _not_there(site, f"event {number} has no photo {photo}", "a photo that its page shows")


def _not_there(site: Site, what: str, expected: str) -> ProblemError:
    return ProblemError(
        404,
        "not-found",
        what,
        where="the address, after /events/",
        expected=expected,
        next_step="go back to the events",
        link=f"/sites/{site.name}/setup/events",
    )


def _page(
    backing: Backing,
    site: Site,
    actor: Actor,
    number: int,
    form: Form,
    *,
    done: str | None = None,
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        event = _event(connection, site, number)
        photos = photos_of(connection, site.id).get(number, ())
    return shown_page(
        *(backing, site, "photos"),
        actor=actor,
        form=form,
        done=texts.PHOTO_DONE.get(done or ""),
        event=event,
        photos=photos,
        kind_words=KIND_WORDS,
        how_many=texts.how_many(len(photos)),
        is_full=len(photos) >= MOST_OF_AN_EVENT,
        most_caption=LONGEST_CAPTION,
        labels=texts.LABELS,
        caption_hint=texts.CAPTION_HINT,
        photo_hint=texts.PHOTO_HINT,
        caution=texts.PHOTO_CAUTION,
        full=texts.FULL,
    )


def _back(site: Site, number: int, done: str) -> RedirectResponse:
    return RedirectResponse(f"/sites/{site.name}/setup/events/{number}/photos?done={done}", 303)
