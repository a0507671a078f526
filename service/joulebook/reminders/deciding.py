"""From what was seen to episodes, and from these to what is told on which channel."""

import logging
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from joulebook.core.alerts.episodes import Change, Limits, Watch, step
from joulebook.core.alerts.rules import BY_NAME, Rule
from joulebook.reminders.messages import closing_message, opening_message
from joulebook.reminders.quiet import not_before_ms
from joulebook.reminders.seen import Seen
from joulebook.storage.alert_settings import (
    RuleSetting,
    alert_settings,
    channels_of,
    rule_settings,
)
from joulebook.storage.alerts import (
    Episode,
    KeptWatch,
    close_episodes,
    keep_watch,
    open_episode,
    watches_of,
)
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection
from joulebook.storage.deliveries import Told, put_delivery
from joulebook.storage.records import Site

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Happened:
    """An episode that opened or closed."""

    change: Change
    episode: Episode


def limits_of(rule: Rule, setting: RuleSetting, site: Site) -> Limits:
    """Return a rule's limits at a site: the owner's, else the terms', else the usual ones."""
    if setting.opens_at is not None:
        return rule.limits.moved_to(setting.opens_at)
    if rule.name == "hot-battery":
        given = [each for each in (site.charge_high_c, site.discharge_high_c) if each is not None]
        if given:
            return rule.limits.moved_to(min(given))
    return rule.limits


def decide(
    connection: Connection, site: Site, seen: Iterable[Seen], *, now_ms: int, address: str
) -> list[Happened]:
    """Open and close episodes, and put there what is told of them, in one transaction.

    A rule that is off opens nothing; what was open when it was turned off closes without a word.

    Parameters
    ----------
    address : str
        Of the pages, as ``https://house.example``; empty where nobody knows it from outside.
    """
    settings, watches = rule_settings(connection, site.id), watches_of(connection, site.id)
    steps = list(_steps(site, seen, settings, watches, now_ms))
    if not steps:
        return []  # as nearly always: nobody who writes is made to wait for nothing
    happened = []
    with transaction(connection):
        for each in steps:
            rule, subject = BY_NAME[each.seen.rule], each.seen.subject
            keep_watch(connection, site.id, rule.name, subject, each.after)
            if each.is_off:
                close_episodes(connection, site.id, rule.name, subject, at_ms=now_ms)
                continue
            for episode in _changed(connection, site, rule, each.seen, each.change, now_ms):
                assert each.change is not None
                happened.append(Happened(each.change, episode))
                _tell(connection, site, rule, happened[-1], now_ms=now_ms, address=address)
    for one in happened:
        _log.info("alert %s of %s %s", one.episode.rule, site.name, one.change)
    return happened


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """What is to be kept of a rule that stands otherwise than before."""

    seen: Seen
    after: KeptWatch
    change: Change | None = None
    is_off: bool = False


def _steps(
    site: Site,
    seen: Iterable[Seen],
    settings: Mapping[str, RuleSetting],
    watches: Mapping[tuple[str, str], KeptWatch],
    now_ms: int,
) -> Iterator[_Step]:
    for each in seen:
        rule, setting = BY_NAME[each.rule], settings[each.rule]
        kept = watches.get((each.rule, each.subject), KeptWatch(watch=Watch()))
        if not setting.is_on:
            if kept.watch.is_open:
                yield _Step(seen=each, after=_off(kept), is_off=True)
            continue
        watch, change = step(limits_of(rule, setting, site), kept.watch, each.value, now_ms)
        after = KeptWatch(watch=watch, least=_least(kept.least, each.level))
        if after != kept or change is not None:
            yield _Step(seen=each, after=after, change=change)


def _changed(
    connection: Connection, site: Site, rule: Rule, seen: Seen, change: Change | None, now_ms: int
) -> list[Episode]:
    if change == "opened":
        assert seen.value is not None
        return [
            open_episode(
                connection,
                site.id,
                rule.name,
                seen.subject,
                at_ms=now_ms,
                value=seen.value,
                sentence=seen.sentence,
            )
        ]
    if change == "closed":
        return close_episodes(connection, site.id, rule.name, seen.subject, at_ms=now_ms)
    return []


def _tell(
    connection: Connection,
    site: Site,
    rule: Rule,
    happened: Happened,
    *,
    now_ms: int,
    address: str,
) -> None:
    settings = alert_settings(connection, site.id)
    make = opening_message if happened.change == "opened" else closing_message
    title, body = make(site, rule, happened.episode, now_ms=now_ms, address=address)
    told = Told(about=f"episode {happened.episode.id} {happened.change}", title=title, body=body)
    not_before = not_before_ms(settings, site.zone, now_ms, dangerous=rule.dangerous)
    for channel in channels_of(connection, site.id):
        put_delivery(connection, channel.id, told, now_ms=now_ms, not_before_ms=not_before)


def _least(before: float | None, level: float | None) -> float | None:
    known = [each for each in (before, level) if each is not None]
    return min(known, default=None)


def _off(kept: KeptWatch) -> KeptWatch:
    return KeptWatch(watch=Watch(), least=kept.least)
