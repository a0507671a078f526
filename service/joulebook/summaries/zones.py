"""Notices when the rules of a site's time zone have changed, and has the moved days computed anew.

Countries change their clocks, now and then within weeks and for days gone by. The new rules come
with the system's zone data or the package tzdata, and a process has them from its next start on.
"""

import logging
from collections.abc import Iterable
from datetime import date, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import msgspec

from joulebook.core.spans import MidnightRun, date_of, dates, midnight_runs
from joulebook.storage.database import Connection
from joulebook.storage.records import Site
from joulebook.storage.zone_rules import save_zone_rules, zone_rules

_log = logging.getLogger(__name__)

#: No reading is dated before.
FIRST = date(2015, 1, 1)
#: So far ahead the rules are noted: a service may run for years until its next start. [days]
AHEAD = 3 * 366


class Noted(msgspec.Struct, frozen=True):
    """The rules of a zone, up to a date and including it."""

    last: date
    runs: tuple[MidnightRun, ...]

    def each(self, last: date) -> Iterable[int]:
        """Yield how far each midnight is ahead of that in UTC, from the first day to one. [s]"""
        ends = [*(run.first for run in self.runs[1:]), self.last + timedelta(days=1)]
        for run, end in zip(self.runs, ends, strict=True):
            for _ in dates(run.first, min(end - timedelta(days=1), last)):
                yield run.ahead_s


def note_zone_rules(connection: Connection, site: Site, *, now_ms: int) -> int:
    """Note the rules of a site's zone; mark the days that begin or end elsewhere than before.

    Parameters
    ----------
    now_ms : int
        Now. [ms, UTC epoch]

    Returns
    -------
    int
        How many days are to be computed anew; 0 where the rules are those of the time before, or
        where nobody noted those.
    """
    last = date_of(now_ms, site.zone) + timedelta(days=AHEAD)
    rules, encoded = _rules(site.timezone, last)
    text = zone_rules(connection, site.id)
    if encoded == text:
        return 0
    before = rules if text is None else msgspec.json.decode(text, type=Noted)
    marked = save_zone_rules(connection, site, encoded, _moved(before, rules))
    if marked:
        _log.warning(
            "the clocks of %s go otherwise than was known: %d days of site %s are computed anew",
            site.timezone,
            marked,
            site.name,
        )
    return marked


@lru_cache(maxsize=1024)  # there are some six hundred zones
def _rules(timezone: str, last: date) -> tuple[Noted, str]:
    """Return a zone's rules, plain and as they are stored: thousands of sites share them."""
    rules = Noted(last, midnight_runs(FIRST, last, ZoneInfo(timezone)))
    return rules, msgspec.json.encode(rules).decode()


def _moved(before: Noted, now: Noted) -> list[date]:
    """Return the days of which one end is another instant: a midnight is the end of two days."""
    last = min(before.last, now.last)
    moved = set[date]()
    for day, old_s, new_s in zip(
        dates(FIRST, last), before.each(last), now.each(last), strict=True
    ):
        if old_s != new_s:
            moved |= {day - timedelta(days=1), day}
    return sorted(moved)
