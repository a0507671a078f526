"""What is wrong with readings: listed, added after a look at what it does, and withdrawn."""

from contextlib import closing
from dataclasses import dataclass
from typing import cast

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from joulebook.core.corrections import KINDS, Correction, CorrectionKind
from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.corrections import (
    Corrected,
    add_correction,
    corrections_of,
    preview_correction,
    withdraw_correction,
)
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Series, Site
from joulebook.storage.series import series_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import gone_to, shown_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.correction_sentences import (
    KIND_WORDS,
    LABELS,
    days_words,
    example,
    what_it_does,
)

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/corrections")

#: Where storage says a fault lies, and which field that is.
_FIELDS = {"series": "series", "kind": "kind", "value": "value", "from, to": "to", "note": "note"}
_MOST = 1e9


@dataclass(frozen=True, slots=True)
class Listed:
    """A correction as the page lists it."""

    correction: Correction
    words: str


@dataclass(frozen=True, slots=True)
class Preview:
    """What a correction would do, in sentences."""

    words: str
    example: str | None
    days: str


@router.get("")
def corrections_page(
    site: Sited, actor: Asking, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """List them, with the form for one more."""
    return _page(backing, site, actor, Form(), done=done)


@router.post("")
def correct(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Show what a correction would do; or make it, once that was seen."""
    wanted = _wanted(form, site, backing.clock_ms())
    if wanted is None:
        return _page(backing, site, actor, form)
    try:
        if form.fields.get("step") == "make":
            _make(backing, site, actor, wanted)
            return gone_to(site, "/corrections", "made")
        preview = _preview(backing, site, wanted)
    except UsageError as error:
        form.refuse(error, _FIELDS.get(error.where, ""))
        return _page(backing, site, actor, form)
    return _page(backing, site, actor, form, preview=preview)


@router.post("/{number}/withdraw")
def withdraw(site: Owned, actor: Owner, number: int, _form: Sent, backing: Backed) -> Response:
    """Withdraw one."""
    now_ms = backing.clock_ms()
    with closing(backing.database.connect()) as connection, transaction(connection):
        withdrawn = withdraw_correction(connection, site, number, now_ms=now_ms)
        gone = withdrawn.correction
        words = what_it_does(gone, _unit(series_of(connection, site.id), gone), site)
        note_change(connection, _audited(site, actor, "withdraw correction", words, now_ms))
    backing.wrote()
    return gone_to(site, "/corrections", "withdrawn")


def _wanted(form: Form, site: Site, now_ms: int) -> Correction | None:
    device, _, quantity = form.text("series", most=200, needed=True).partition("/")
    kind = cast(CorrectionKind, form.choice("kind", KINDS))
    value = form.number("value", low=-_MOST, high=_MOST)
    wanted = Correction(
        id=0,
        device=device,
        quantity=quantity,
        kind=kind,
        value=value,
        from_ms=form.moment("from", site.zone),
        to_ms=form.moment("to", site.zone),
        note=form.text("note", most=500),
        made_ms=now_ms,
    )
    return None if form.errors else wanted


def _preview(backing: Backing, site: Site, wanted: Correction) -> Preview:
    with closing(backing.database.connect()) as connection:
        looked = preview_correction(connection, site, wanted)
        there = corrections_of(connection, site.id)
        newest = latest_readings(connection, site.id)
        unit = _unit(series_of(connection, site.id), wanted)
    return Preview(
        words=what_it_does(wanted, unit, site),
        example=example(wanted, there, newest),
        days=days_words(looked.days),
    )


def _make(backing: Backing, site: Site, actor: Actor, wanted: Correction) -> Corrected:
    with closing(backing.database.connect()) as connection, transaction(connection):
        made = add_correction(connection, site, wanted)
        words = what_it_does(wanted, _unit(series_of(connection, site.id), wanted), site)
        note_change(connection, _audited(site, actor, "add correction", words, wanted.made_ms))
    backing.wrote()
    return made


def _audited(site: Site, actor: Actor, action: str, words: str, now_ms: int) -> Audited:
    return Audited(at_ms=now_ms, who=actor.name, site=site.name, action=action, detail=words)


def _unit(series: list[Series], correction: Correction) -> str:
    return next(
        each.unit
        for each in series
        if (each.device, each.quantity) == (correction.device, correction.quantity)
    )


def _page(
    backing: Backing,
    site: Site,
    actor: Actor,
    form: Form,
    *,
    preview: Preview | None = None,
    done: str | None = None,
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        there = corrections_of(connection, site.id, withdrawn=True)
        series = series_of(connection, site.id)
    listed = [Listed(each, what_it_does(each, _unit(series, each), site)) for each in there]
    numbers = [each for each in series if each.kind == "number"]
    return shown_page(
        *(backing, site, "corrections"),
        actor=actor,
        form=form,
        done=done,
        in_force=[each for each in listed if each.correction.withdrawn_ms is None],
        withdrawn=[each for each in listed if each.correction.withdrawn_ms is not None],
        series=[(name, name) for each in numbers for name in (f"{each.device}/{each.quantity}",)],
        kinds=list(KIND_WORDS.items()),
        labels=LABELS,
        preview=preview,
    )
