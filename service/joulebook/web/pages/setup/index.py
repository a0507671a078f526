"""Setup: what is entered of a site, what is missing, and what each is good for."""

from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.storage.corrections import corrections_of
from joulebook.storage.events import events_of
from joulebook.storage.reading import devices_of
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import sign_offs_of
from joulebook.storage.tariffs import tariffs_of
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import shown_page
from joulebook.web.region import formats
from joulebook.web.setup.missing import Missing, missing_equipment, missing_terms
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.setup_texts import MISSING_TOPICS, SETUP_DONE, TOPICS, WITHOUT

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One page of the setup.

    Attributes
    ----------
    below : str
        Its address after /setup.
    title, words : str
        What it is called, and what is there.
    missing : tuple of Missing
        What is not entered, and why it matters.
    owners_only : bool
        Whether a viewer cannot open it.
    """

    below: str
    title: str
    words: str
    missing: tuple[Missing, ...] = ()
    owners_only: bool = False


@router.get("/sites/{site}/setup")
def setup_page(
    site: Sited, actor: Asking, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """Show the page."""
    topics = topics_of(backing, site)
    return shown_page(
        *(backing, site, "index"),
        actor=actor,
        done=SETUP_DONE.get(done or ""),
        topics=topics,
        may_add=actor.may_run_the_house(),
        lacking=sum(len(each.missing) for each in topics),
    )


def topics_of(backing: Backing, site: Site) -> list[Topic]:
    """Return the pages of a site's setup."""
    with closing(backing.database.connect()) as connection:
        devices = devices_of(connection, site.id)
        corrections = corrections_of(connection, site.id)
        events = events_of(connection, site.id)
        signed = sign_offs_of(connection, site.id)
        tariffs = tariffs_of(connection, site.id)
    equipment = {"equipment": _equipment_words(site), "zone": site.timezone}
    heard = ", ".join(formats.device_label(each) for each in devices)
    last = signed[-1] if signed else None
    sign_off = {"when": formats.moment(last.at_ms, site.zone), "name": last.name} if last else None
    return [
        _topic("site", equipment, missing=missing_equipment(site), owners_only=True),
        _topic("terms", {}, missing=missing_terms(site), owners_only=True),
        _topic(
            "devices", {"devices": heard} if heard else None, missing=_lacking("devices", heard)
        ),
        _topic("tokens", {}, owners_only=True),
        _topic("tariff", {}, missing=_lacking("tariff", tariffs), owners_only=True),
        _topic("events", {"count": len(events)}),
        _topic("corrections", {"count": len(corrections)}),
        _topic("sign-off", sign_off, missing=_lacking("sign-off", last)),
    ]


def _topic(
    name: str,
    there: Mapping[str, object] | None,
    *,
    missing: tuple[Missing, ...] = (),
    owners_only: bool = False,
) -> Topic:
    """Return a page; ``there`` is what its words tell of, ``None`` where there is nothing."""
    title, words = TOPICS[name]
    return Topic(
        below=f"/{name}",
        title=title,
        words=WITHOUT[name] if there is None else words.format_map(there),
        missing=missing,
        owners_only=owners_only,
    )


def _lacking(name: str, there: object) -> tuple[Missing, ...]:
    return () if there else (Missing(*MISSING_TOPICS[name]),)


def _equipment_words(site: Site) -> str:
    battery = " ".join(each for each in (site.battery_maker, site.battery_model) if each)
    inverter = " ".join(each for each in (site.inverter_maker, site.inverter_model) if each)
    named = " and ".join(each for each in (battery, inverter) if each)
    return named or WITHOUT["site"]
