"""Setup: what is entered of a site, what is missing, and what each is good for."""

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

router = APIRouter(include_in_schema=False)

_DONE = {
    "added": "The site is there. What is missing stands below, and why it matters.",
    "site": "The site and its equipment are saved.",
    "terms": "The terms are saved.",
}


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
        done=_DONE.get(done or ""),
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
    silent = Missing("A device that is heard", "without readings nothing can be told")
    return [
        Topic(
            below="/site",
            title="Site and equipment",
            words=_equipment_words(site),
            missing=missing_equipment(site),
            owners_only=True,
        ),
        Topic(
            below="/terms",
            title="Terms of the warranty",
            words="What the maker promised, and the limits it asks you to keep.",
            missing=missing_terms(site),
            owners_only=True,
        ),
        Topic(
            below="/devices",
            title="Devices",
            words=f"Heard of: {', '.join(formats.device_label(each) for each in devices)}."
            if devices
            else "Nothing was heard yet.",
            missing=() if devices else (silent,),
        ),
        Topic(
            below="/tokens",
            title="Tokens",
            words="The secrets by which bridges and programs may write to this site.",
            owners_only=True,
        ),
        Topic(
            below="/tariff",
            title="Tariff",
            words="What a kilowatt-hour costs, by hour and season.",
            missing=()
            if tariffs
            else (Missing("A tariff", "no amount can be told, of cost or of what was saved"),),
            owners_only=True,
        ),
        Topic(
            below="/events",
            title="Events",
            words=f"Changes that were noted: {len(events)}. They stand in every picture.",
        ),
        Topic(
            below="/corrections",
            title="Corrections",
            words=f"Corrections in force: {len(corrections)}. Readings stay as they came.",
        ),
        Topic(
            below="/sign-off",
            title="Sign-off",
            words=f"Last signed on {formats.moment(signed[-1].at_ms, site.zone)} by"
            f" {signed[-1].name}."
            if signed
            else "The checks, kept as they stand on a day, with a name below them.",
            missing=()
            if signed
            else (Missing("A sign-off", "the evidence file has no record of commissioning"),),
        ),
    ]


def _equipment_words(site: Site) -> str:
    battery = " ".join(each for each in (site.battery_maker, site.battery_model) if each)
    inverter = " ".join(each for each in (site.inverter_maker, site.inverter_model) if each)
    named = " and ".join(each for each in (battery, inverter) if each)
    return f"{named or 'Battery and inverter'}, in {site.timezone}."
