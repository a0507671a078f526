"""A new site: its name and zone, which stay, and what is known of its battery."""

from contextlib import closing
from functools import cache
from typing import Literal
from zoneinfo import available_timezones

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.catalogue import add_site
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Keeper, Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.reach import reach_of
from joulebook.web.backing import Backing
from joulebook.web.setup.facts import BATTERY, LABELS, read_facts
from joulebook.web.sites import Backed
from joulebook.web.words.setup_texts import NEW_SITE_LABELS, NO_ORGANISATION

router = APIRouter(include_in_schema=False)

_FACTS = BATTERY[:3]
_LABELS = LABELS | NEW_SITE_LABELS
#: Zones by these heads are those of places; the others are old names and bare offsets.
_PLACES = (
    *("Africa/", "America/", "Antarctica/", "Arctic/", "Asia/", "Atlantic/", "Australia/"),
    *("Europe/", "Indian/", "Pacific/"),
)


@router.get("/setup/new-site")
def new_site_page(actor: Keeper, backing: Backed) -> HTMLResponse:
    """Show the form."""
    return _page(backing, actor, Form(), _choices(backing, actor))


@router.post("/setup/new-site")
def make_site(actor: Keeper, form: Sent, backing: Backed) -> Response:
    """Add the site and lead to its setup."""
    choices = _choices(backing, actor)
    site = _added(backing, form, choices)
    if site is None:
        return _page(backing, actor, form, choices)
    with closing(backing.database.connect()) as connection:
        note_change(
            connection,
            Audited(
                at_ms=backing.clock_ms(),
                who=actor.name,
                site=site.name,
                action="add site",
                detail=f"zone {site.timezone}",
            ),
        )
    return RedirectResponse(f"/sites/{site.name}/setup?done=added", 303)


def _choices(backing: Backing, actor: Actor) -> list[tuple[str, str]]:
    """Return to which organisations the site may belong; to none where he runs the house."""
    reach = reach_of(backing, actor)
    none = [("", NO_ORGANISATION)] if reach.everything else []
    return none + [(str(each.id), each.name) for each in reach.organisations]


def _added(backing: Backing, form: Form, choices: list[tuple[str, str]]) -> Site | None:
    name = form.text("name", most=63, needed=True)
    timezone = form.text("timezone", most=63, needed=True)
    organisation = form.choice("organisation", [sent for sent, _ in choices])
    facts = read_facts(form, _FACTS)
    if form.errors:
        return None
    try:
        return add_site(
            *(backing.database, name, timezone),
            organisation_id=int(organisation) if organisation else None,
            **facts,
        )
    except UsageError as error:
        form.refuse(error, _field_of(error))
        return None


def _field_of(error: UsageError) -> Literal["name", "timezone"]:
    return "timezone" if error.where == "timezone" else "name"


@cache
def _zones() -> tuple[str, ...]:
    # Looking for them reads directories: once is enough.
    return tuple(sorted(zone for zone in available_timezones() if zone.startswith(_PLACES)))


def _page(
    backing: Backing, actor: Actor, form: Form, choices: list[tuple[str, str]]
) -> HTMLResponse:
    page = backing.render(
        "setup/new_site.html",
        actor=actor,
        form=form,
        facts=_FACTS,
        labels=_LABELS,
        zones=_zones(),
        organisations=choices,
    )
    return HTMLResponse(page, 422 if form.errors else 200)
