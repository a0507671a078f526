"""What the owner is told of, and how: open alerts first, then rules, quiet hours and channels."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.alerts.rules import BY_NAME, RULES, Rule
from joulebook.reminders.deciding import limits_of
from joulebook.reminders.letter import LetterDocuments, weekly_letter
from joulebook.storage.alert_settings import RuleSetting, alert_settings, channels_of, rule_settings
from joulebook.storage.alerts import episodes_of
from joulebook.storage.deliveries import deliveries_of
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.records import record_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.alert_texts import LABELS, WEEKDAYS, delivery_words, lead_of, minute_text

router = APIRouter(include_in_schema=False, prefix="/sites/{site}")

#: Episodes that the page lists.
MOST_LISTED = 50


@dataclass(frozen=True, slots=True)
class RuleLine:
    """A rule as the page shows it: its setting, and where it opens now and by default."""

    rule: Rule
    is_on: bool
    opens_at: float
    usual: float


@router.get("/alerts")
def alerts_page(
    site: Sited, actor: Asking, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """Show the page."""
    return alerts_shown(backing, site, actor, Form(), done=done)


@router.get("/letter")
def letter_page(site: Sited, backing: Backed) -> HTMLResponse:
    """Show the letter as it would be sent now."""
    now_ms, analyses = backing.clock_ms(), backing.analyses
    documents = LetterDocuments(
        checks=analyses.checks(site, now_ms=now_ms),
        efficiency=analyses.efficiency(site),
        loads=analyses.loads(site, now_ms=now_ms),
        wear=analyses.wear(site),
    )
    letter = weekly_letter(backing.database, site, documents, now_ms=now_ms, address="")
    with closing(backing.database.connect()) as connection:
        settings = alert_settings(connection, site.id)
    page = record_page(
        backing,
        site,
        "letter.html",
        current="letter",
        letter=letter,
        settings=settings,
        weekdays=WEEKDAYS,
    )
    return HTMLResponse(page)


def alerts_shown(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> HTMLResponse:
    """Return the page, with what is wrong with a form that was sent."""
    with closing(backing.database.connect()) as connection:
        episodes = episodes_of(connection, site.id, most=MOST_LISTED)
        rules = rule_settings(connection, site.id)
        settings = alert_settings(connection, site.id)
        channels = channels_of(connection, site.id)
        deliveries = deliveries_of(connection, site.id, most=20)
    still = [each for each in episodes if each.closed_ms is None]
    page = record_page(
        backing,
        site,
        "alerts.html",
        current="alerts",
        actor=actor,
        form=form,
        done=done,
        may_change=actor.may_change(site.id),
        lead=lead_of(still, rules),
        still=still,
        over=[each for each in episodes if each.closed_ms is not None],
        titles={name: rule.title for name, rule in BY_NAME.items()},
        by_name=BY_NAME,
        rules=list(_lines(rules, site)),
        settings=settings,
        quiet_from=minute_text(settings.quiet_from),
        quiet_to=minute_text(settings.quiet_to),
        weekdays=list(enumerate(WEEKDAYS)),
        channels=channels,
        deliveries=[(each, delivery_words(each)) for each in deliveries],
        labels=LABELS | {rule.name: rule.title for rule in RULES},
        can_send=not backing.rules.demonstration,
    )
    return HTMLResponse(page, 422 if form.errors else 200)


def _lines(settings: dict[str, RuleSetting], site: Site) -> Iterator[RuleLine]:
    for rule in RULES:
        setting = settings[rule.name]
        yield RuleLine(
            rule,
            setting.is_on,
            limits_of(rule, setting, site).opens_at,
            limits_of(rule, RuleSetting(), site).opens_at,
        )
