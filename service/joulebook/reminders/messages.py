"""What is told of an episode, in plain words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from joulebook.core.alerts.rules import Rule
from joulebook.storage.alerts import Episode
from joulebook.storage.records import Site


def opening_message(
    site: Site, rule: Rule, episode: Episode, *, now_ms: int, address: str
) -> tuple[str, str]:
    """Return title and text of an episode that opened."""
    lines = [
        f"{_capital(episode.sentence)}.",
        f"Seen {moment(now_ms, site.zone)}.",
        f"Look at: {rule.look_at}",
    ]
    if rule.caution:
        lines.append(f"Careful: {rule.caution}")
    lines.append(_working(site, rule, address))
    return f"{site.name}: {rule.title}", "\n".join(lines) + "\n"


def closing_message(
    site: Site, rule: Rule, episode: Episode, *, now_ms: int, address: str
) -> tuple[str, str]:
    """Return title and text of an episode that closed."""
    text = (
        f"It is over: {episode.sentence}.\n"
        f"From {moment(episode.opened_ms, site.zone)} to {moment(now_ms, site.zone)}.\n"
        f"{_working(site, rule, address)}\n"
    )
    return f"{site.name}: over: {rule.title}", text


def moment(at_ms: int, zone: ZoneInfo) -> str:
    """Return date and time on the site's clock, with the zone's abbreviation."""
    local = datetime.fromtimestamp(at_ms / 1000, tz=UTC).astimezone(zone)
    return f"{local:%Y-%m-%d %H:%M %Z}"


def _working(site: Site, rule: Rule, address: str) -> str:
    page = f"/sites/{site.name}{rule.page}"
    return f"Its working: {address}{page}" if address else f"Its working: the page {page}"


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
