"""The alerts document: what is open, and what was."""

from contextlib import closing

from joulebook.core.alerts.episodes import METHOD
from joulebook.core.alerts.rules import BY_NAME
from joulebook.storage.alerts import Episode, episodes_of
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document, time_text


def alerts_report(database: Database, site: Site, *, since_ms: int | None = None) -> Document:
    """Return a site's alerts, the newest first; those that opened or closed since an instant."""
    with closing(database.connect()) as connection:
        episodes = episodes_of(connection, site.id, since_ms=since_ms)
    return {
        "site": site.name,
        "timezone": site.timezone,
        "method": METHOD,
        "open": sum(each.closed_ms is None for each in episodes),
        "alerts": [_alert(each, site) for each in episodes],
    }


def _alert(episode: Episode, site: Site) -> Document:
    rule = BY_NAME.get(episode.rule)
    closed_ms = episode.closed_ms
    return {
        "rule": episode.rule,
        "title": episode.rule if rule is None else rule.title,
        "device": episode.subject or None,
        "opened": time_text(episode.opened_ms, site.zone),
        "closed": None if closed_ms is None else time_text(closed_ms, site.zone),
        "value": episode.value,
        "unit": None if rule is None else rule.unit or None,
        "sentence": episode.sentence,
        "look_at": None if rule is None else rule.look_at,
        "caution": None if rule is None else rule.caution,
    }
