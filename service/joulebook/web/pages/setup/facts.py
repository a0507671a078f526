"""The pages of what an owner enters once: the site with its equipment, and the terms."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from joulebook.storage.records import Site
from joulebook.storage.site_facts import SiteFacts
from joulebook.summaries.warranty import USUAL_FLOOR_RATIO, USUAL_YEARS
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import gone_to, saved, shown_page
from joulebook.web.region.choices import region_choices
from joulebook.web.region.regions import region_of
from joulebook.web.setup.facts import (
    BATTERY,
    INVERTER,
    LABELS,
    LIMITS,
    PEOPLE,
    WARRANTY,
    read_facts,
    typed,
)
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.setup_texts import FACT_GROUPS, LOCALE_LABEL, NO_LOCALE

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup")

_SITE = (*BATTERY, *INVERTER, *PEOPLE)
_TERMS = (*WARRANTY, *LIMITS)


@router.get("/site")
def site_page(site: Owned, actor: Owner, backing: Backed) -> HTMLResponse:
    """Show what is entered of the site and its equipment."""
    return _site_page(backing, site, actor, Form())


@router.post("/site")
def save_site(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Keep what was entered of them."""
    facts = read_facts(form, _SITE)
    facts["locale"] = locale = form.text("locale") or None
    if locale is not None and region_of(locale) is None:
        form.errors["locale"] = faults.OF_THE_LIST
    if not saved(backing, site, actor, form, facts):
        return _site_page(backing, site, actor, form)
    return gone_to(site, "", "site")


@router.get("/terms")
def terms_page(site: Owned, actor: Owner, backing: Backed) -> HTMLResponse:
    """Show the terms as they were entered."""
    return _terms_page(backing, site, actor, Form())


@router.post("/terms")
def save_terms(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Keep them."""
    facts: SiteFacts = read_facts(form, _TERMS)
    if not saved(backing, site, actor, form, facts):
        return _terms_page(backing, site, actor, form)
    return gone_to(site, "", "terms")


def _site_page(backing: Backing, site: Site, actor: Actor, form: Form) -> HTMLResponse:
    return shown_page(
        *(backing, site, "site"),
        actor=actor,
        form=form,
        groups=tuple(zip(FACT_GROUPS, (BATTERY, INVERTER, PEOPLE), strict=True)),
        regions=_regions(site),
        labels=LABELS | {"locale": LOCALE_LABEL},
        typed=typed,
    )


def _regions(site: Site) -> list[tuple[str, str]]:
    """Return the regions to choose from, and the one that the command line entered."""
    choices = [("", NO_LOCALE), *region_choices()]
    entered = site.locale or ""
    return choices if entered in dict(choices) else [*choices, (entered, entered)]


def _terms_page(backing: Backing, site: Site, actor: Actor, form: Form) -> HTMLResponse:
    return shown_page(
        *(backing, site, "terms"),
        actor=actor,
        form=form,
        warranty=WARRANTY,
        limits=LIMITS,
        labels=LABELS,
        usual_years=USUAL_YEARS,
        usual_floor=USUAL_FLOOR_RATIO,
        typed=typed,
    )
