"""What all setup pages share: how they are rendered, and how a change is kept and noted."""

from contextlib import closing
from typing import Any

from fastapi.responses import HTMLResponse, RedirectResponse

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.records import Site
from joulebook.storage.site_facts import FACTS, SiteFacts, change_facts
from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.pages.records import record_page
from joulebook.web.setup.facts import words
from joulebook.web.words import fault_texts as faults


def shown_page(
    backing: Backing,
    site: Site,
    template: str,
    *,
    actor: Actor,
    form: Form | None = None,
    done: str | None = None,
    **shown: Any,
) -> HTMLResponse:
    """Return a setup page; one whose form was refused says so by its status too."""
    form = form or Form()
    page = record_page(
        backing,
        site,
        f"setup/{template}.html",
        current="setup",
        actor=actor,
        form=form,
        done=done,
        may_change=actor.may_change(site.id),
        **shown,
    )
    return HTMLResponse(page, 422 if form.errors else 200)


def gone_to(site: Site, below: str, done: str) -> RedirectResponse:
    """Lead to a page below a site's setup that says what was done."""
    return RedirectResponse(f"/sites/{site.name}/setup{below}?done={done}", 303)


def saved(backing: Backing, site: Site, actor: Actor, form: Form, facts: SiteFacts) -> bool:
    """Keep facts and note what they were; or return false, with the faults in the form."""
    if form.errors:
        return False
    try:
        with closing(backing.database.connect()) as connection, transaction(connection):
            changed = change_facts(connection, site, **facts)
            if told := differences(site, changed.site):
                note_change(
                    connection,
                    Audited(
                        at_ms=backing.clock_ms(),
                        who=actor.name,
                        site=site.name,
                        action="change facts",
                        detail=told,
                    ),
                )
    except UsageError as error:
        # Its own words name the fact as programs do; the field beside it has the label.
        form.errors[error.where] = faults.cannot_be(error.expected)
        return False
    if changed.days:
        backing.wrote()
    return True


def differences(before: Site, after: Site) -> str:
    """Return what was changed of a site, such as "battery_ah: 100 Ah, now 200 Ah"."""
    pairs = ((fact, getattr(before, fact), getattr(after, fact)) for fact in FACTS)
    return "; ".join(
        f"{fact}: {words(fact, was)}, now {words(fact, became)}"
        for fact, was, became in pairs
        if was != became
    )
