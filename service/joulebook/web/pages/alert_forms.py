"""What an owner changes about alerts: rules, quiet hours, the letter, channels."""

import re
from collections.abc import Callable
from contextlib import closing

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from joulebook.core.alerts.rules import RULES
from joulebook.errors import UsageError
from joulebook.reminders.sending import address_trouble
from joulebook.storage.alert_settings import (
    LONGEST_LABEL,
    LONGEST_URL,
    AlertSettings,
    RuleSetting,
    add_channel,
    channels_of,
    remove_channel,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection
from joulebook.storage.deliveries import Told, put_delivery
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.pages.alerts import alerts_shown
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.alert_texts import TEST_BODY, TEST_TITLE

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/alerts")

_MINUTE = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


@router.post("/rules")
def change_rules(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Turn rules on and off, and move where they open."""
    settings = {}
    for rule in RULES:
        opens_at = None
        if not rule.is_yes_or_no:
            opens_at = form.number(rule.name, low=-1000, high=1e6)
        settings[rule.name] = RuleSetting(is_on=form.ticked(f"on-{rule.name}"), opens_at=opens_at)
    if form.errors:
        return alerts_shown(backing, site, actor, form)
    return _changed(
        *(backing, site, actor, form, "set alert rules", "rules"),
        lambda connection: set_rules(connection, site, settings),
    )


@router.post("/quiet")
def change_quiet(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Set quiet hours, and when the letter comes."""
    day = form.choice("letter_day", ["none", *map(str, range(7))])
    hour = form.whole("letter_hour", low=0, high=23)
    if day != "none" and hour is None and "letter_hour" not in form.errors:
        form.errors["letter_hour"] = faults.LETTER_HOUR
    settings = AlertSettings(
        quiet_from=_minute(form, "quiet_from"),
        quiet_to=_minute(form, "quiet_to"),
        dangerous_anyway=form.ticked("dangerous_anyway"),
        letter_day=None if day == "none" else int(day),
        letter_hour=None if day == "none" else hour,
    )
    if form.errors:
        return alerts_shown(backing, site, actor, form)
    return _changed(
        *(backing, site, actor, form, "set quiet hours and letter", "quiet"),
        lambda connection: set_alert_settings(connection, site, settings),
    )


@router.post("/channels")
def new_channel(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Add a channel whose address can be used."""
    label = form.text("label", most=LONGEST_LABEL, needed=True)
    url = form.text("url", most=LONGEST_URL, needed=True)
    if not form.errors:
        trouble = address_trouble(url)
        if trouble is not None:
            form.errors["url"] = f"{trouble[:1].upper()}{trouble[1:]}."
    if form.errors:
        # The address may hold a password: it is not written into a page.
        form.fields.pop("url", None)
        return alerts_shown(backing, site, actor, form)
    return _changed(
        *(backing, site, actor, form, f"add channel {label}", "added"),
        lambda connection: add_channel(
            connection, site, label=label, url=url, made_ms=backing.clock_ms()
        ),
    )


@router.post("/channels/{number}/remove")
def drop_channel(site: Owned, actor: Owner, number: int, form: Sent, backing: Backed) -> Response:
    """Remove a channel."""
    return _changed(
        *(backing, site, actor, form, f"remove channel {number}", "removed"),
        lambda connection: remove_channel(connection, site, number, now_ms=backing.clock_ms()),
    )


@router.post("/channels/{number}/test")
def try_channel(site: Owned, number: int, _form: Sent, backing: Backed) -> Response:
    """Put a message there that says nothing but that it arrived."""
    now_ms = backing.clock_ms()
    told = Told(
        about=f"test {now_ms}",
        title=TEST_TITLE.format(site=site.name),
        body=TEST_BODY,
    )
    with closing(backing.database.connect()) as connection, transaction(connection):
        if number not in {each.id for each in channels_of(connection, site.id)}:
            raise _no_channel(site, number)
        put_delivery(connection, number, told, now_ms=now_ms, not_before_ms=now_ms)
    return _back(site, "test")


def _changed(
    backing: Backing,
    site: Site,
    actor: Actor,
    form: Form,
    action: str,
    done: str,
    change: Callable[[Connection], object],
) -> Response:
    """Make a change with its audit note in one transaction, and lead back to the page."""
    noted = Audited(at_ms=backing.clock_ms(), who=actor.name, site=site.name, action=action)
    try:
        with closing(backing.database.connect()) as connection, transaction(connection):
            change(connection)
            note_change(connection, noted)
    except UsageError as error:
        form.refuse(error, error.where)
        form.fields.pop("url", None)
        return alerts_shown(backing, site, actor, form)
    return _back(site, done)


def _minute(form: Form, name: str) -> int | None:
    """Return a minute of the day as browsers send it: HH:MM."""
    text = form.text(name, most=5)
    match = _MINUTE.fullmatch(text)
    if text and match is None:
        form.errors[name] = faults.MINUTE
    return None if match is None else 60 * int(match[1]) + int(match[2])


def _back(site: Site, done: str) -> Response:
    return RedirectResponse(f"/sites/{site.name}/alerts?done={done}", 303)


def _no_channel(site: Site, number: int) -> ProblemError:
    return ProblemError(
        404,
        "not-found",
        f"there is no channel {number}",
        where=f"the channels of {site.name}",
        expected="one that the page lists",
        next_step="go back to the page",
        link=f"/sites/{site.name}/alerts",
    )
