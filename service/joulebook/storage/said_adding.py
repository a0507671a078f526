"""What was said of a site, added to another: what is there already stays as it is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar, cast

from joulebook.core.corrections import Correction
from joulebook.core.money.tariff_text import document_of, tariff_of
from joulebook.errors import UsageError
from joulebook.storage.alert_settings import (
    AlertSettings,
    RuleSetting,
    alert_settings,
    rule_settings,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.connections import Connection, joined
from joulebook.storage.corrections import add_correction, corrections_of, withdraw_correction
from joulebook.storage.deep_tests import DeepTest, deep_tests_of, end_test, plan_test, start_test
from joulebook.storage.event_photos import add_photo, photos_of
from joulebook.storage.events import Event, add_event, events_of, remove_event
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site
from joulebook.storage.said import Said, SaidAlerts, SaidTariff
from joulebook.storage.sign_offs import keep_sign_off
from joulebook.storage.site_facts import SiteFacts, change_facts, facts_of
from joulebook.storage.tariffs import TariffVersion, add_tariff, tariffs_of, withdraw_tariff

_Thing = TypeVar("_Thing")


@dataclass(frozen=True, slots=True)
class SaidCounts:
    """What adding did: how much was new by part, and what is otherwise here and stayed so."""

    new: dict[str, int] = field(default_factory=dict)
    differs: list[str] = field(default_factory=list)


@names_faults
def add_said(connection: Connection, site: Site, said: Said) -> SaidCounts:
    """Add what a document says and a site does not have, all of it or nothing; twice is once.

    Raises
    ------
    UsageError
        If the site is in another time zone, a part makes no sense or contradicts what is there,
        a photo is not as it was kept, or a correction is of a series that has no readings yet.
    """
    if said.timezone != site.timezone:
        raise UsageError(
            f"it was said of a site in {said.timezone}",
            where=f"site {site.name}",
            expected=f"a document of a site in {site.timezone}, as days and hours are local ones",
            next_step="import it into a site of its time zone",
        )
    differs: list[str] = []
    with joined(connection):
        new = {
            "facts": _facts(connection, site, said.facts, differs),
            "events": sum(_event(connection, site, one) for one in said.events),
            "corrections": sum(_correction(connection, site, one) for one in said.corrections),
            "tariffs": sum(_tariff(connection, site, one) for one in said.tariffs),
            "deep_tests": sum(_deep_test(connection, site, one) for one in said.deep_tests),
            "sign_offs": sum(keep_sign_off(connection, site, one) for one in said.sign_offs),
            "alerts": _alerts(connection, site, said.alerts, differs),
            "photos": _photos(connection, site, said, differs),
        }
    return SaidCounts(new, differs)


def _facts(connection: Connection, site: Site, said: SiteFacts, differs: list[str]) -> int:
    here = cast(dict[str, Any], facts_of(site))
    told = {fact: value for fact, value in said.items() if value is not None}
    differs += [
        f"{fact}: {here[fact]} here, {value} there"
        for fact, value in told.items()
        if here[fact] not in (None, value)
    ]
    new = {fact: value for fact, value in told.items() if here[fact] is None}
    if new:
        change_facts(connection, site, **cast(SiteFacts, new))
    return len(new)


def _event(connection: Connection, site: Site, said: Event) -> bool:
    here = _same_event(connection, site, said)
    event = here or add_event(connection, site, replace(said, id=0, removed_ms=None))
    if said.removed_ms is not None and event.removed_ms is None:
        remove_event(connection, site, event.id, now_ms=said.removed_ms)
    return here is None


def _same_event(connection: Connection, site: Site, said: Event) -> Event | None:
    there = events_of(connection, site.id, removed=True)
    plain = replace(said, id=0, removed_ms=None)
    return _found(there, lambda one: replace(one, id=0, removed_ms=None) == plain)


def _photos(connection: Connection, site: Site, said: Said, differs: list[str]) -> int:
    """Add photos to the events that were said before them; return how many were new."""
    if not said.photos:
        return 0
    from joulebook.storage.pictures import as_kept  # here, for its decoder takes 5 MB

    events = {one.id: _same_event(connection, site, one) for one in said.events}
    new = 0
    for place, one in enumerate(said.photos, start=1):
        event = events.get(one.event)
        if event is None:
            raise UsageError(
                f"photo {place} is of event {one.event}, which is not in the document",
                where="photos",
                expected="the number of an event of the document",
                next_step="export it anew; nothing was stored",
            )
        picture = as_kept(one.jpeg)
        there = photos_of(connection, site.id).get(event.id, ())
        if picture.sha256 in {each.sha256 for each in there}:
            continue
        if event.removed_ms is not None:
            differs.append(f"a photo of {event.title}: the event was taken back here")
            continue
        add_photo(connection, site, event, picture, caption=one.caption, now_ms=one.made_ms)
        new += 1
    return new


def _correction(connection: Connection, site: Site, said: Correction) -> bool:
    there = corrections_of(connection, site.id, withdrawn=True)
    plain = replace(said, id=0, withdrawn_ms=None)
    here = _found(there, lambda one: replace(one, id=0, withdrawn_ms=None) == plain)
    if here is None and said.withdrawn_ms is None:
        # Said here too, at another time: it would act twice.
        same = replace(plain, made_ms=0, note="")
        here = _found(there, lambda one: replace(one, id=0, made_ms=0, note="") == same)
    correction = here or add_correction(connection, site, plain).correction
    if said.withdrawn_ms is not None and correction.withdrawn_ms is None:
        withdraw_correction(connection, site, correction.id, now_ms=said.withdrawn_ms)
    return here is None


def _tariff(connection: Connection, site: Site, said: SaidTariff) -> bool:
    there = tariffs_of(connection, site.id, withdrawn=True)
    plain = TariffVersion(id=0, tariff=tariff_of(said.terms), note=said.note, made_ms=said.made_ms)
    here = _found(there, lambda one: replace(one, id=0, withdrawn_ms=None) == plain)
    if here is None and said.withdrawn_ms is None:
        terms = document_of(plain.tariff)
        here = _found(
            there, lambda one: one.withdrawn_ms is None and document_of(one.tariff) == terms
        )
    version = here or add_tariff(connection, site, plain)
    if said.withdrawn_ms is not None and version.withdrawn_ms is None:
        withdraw_tariff(connection, site, version.id, now_ms=said.withdrawn_ms)
    return here is None


def _deep_test(connection: Connection, site: Site, said: DeepTest) -> bool:
    there = deep_tests_of(connection, site.id)
    what = (said.planned_ms, said.target, said.note)
    here = _found(there, lambda one: (one.planned_ms, one.target, one.note) == what)
    test = here or plan_test(
        connection, site, said.target, note=said.note, planned_ms=said.planned_ms
    )
    if test.is_open and test.started_ms is None and said.started_ms is not None:
        test = start_test(connection, site, started_ms=said.started_ms)
    if test.is_open and said.ended_ms is not None:
        end_test(connection, site, ended_ms=said.ended_ms)
    return here is None


def _alerts(connection: Connection, site: Site, said: SaidAlerts, differs: list[str]) -> int:
    here = alert_settings(connection, site.id)
    new = 0
    if said.settings != here and here == AlertSettings():
        set_alert_settings(connection, site, said.settings)
        new += 1
    elif said.settings not in (here, AlertSettings()):
        differs.append("quiet hours or the letter")
    rules = rule_settings(connection, site.id)
    fresh = {
        name: one
        for name, one in said.rules.items()
        if rules.get(name, RuleSetting()) == RuleSetting() != one
    }
    set_rules(connection, site, fresh)
    differs += [
        f"rule {name}"
        for name, one in said.rules.items()
        if name not in fresh and rules.get(name) != one
    ]
    return new + len(fresh)


def _found(there: Sequence[_Thing], is_it: Callable[[_Thing], bool]) -> _Thing | None:
    return next((one for one in there if is_it(one)), None)
