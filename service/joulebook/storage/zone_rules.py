"""The rules of the sites' time zones that days were computed with."""

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise

from joulebook.core.spans import days_span
from joulebook.storage.connections import Connection, joined
from joulebook.storage.days import day_results, mark_days, mark_span
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site


@names_faults
def zone_rules(connection: Connection, site_id: int) -> str | None:
    """Return the rules that a site's days were computed with; ``None`` where nobody noted them."""
    row = connection.execute(
        "SELECT rules FROM zone_rules WHERE site_id = ?", (site_id,)
    ).fetchone()
    return None if row is None else str(row[0])


@names_faults
def save_zone_rules(connection: Connection, site: Site, rules: str, moved: Sequence[date]) -> int:
    """Note the rules of a site's zone and mark the days that they moved, in one transaction.

    Parameters
    ----------
    moved : sequence of date
        Days that begin or end at another instant than before, in order.

    Returns
    -------
    int
        How many days were marked: those that readings reach, or those that have a result where
        these are more.
    """
    with joined(connection):
        connection.execute(
            """
            INSERT INTO zone_rules (site_id, rules)
            VALUES (?, ?)
            ON CONFLICT (site_id) DO UPDATE SET rules = excluded.rules
            """,
            (site.id, rules),
        )
        if not moved:
            return 0
        # A result may be of a day that has no readings any more: they are of another one now.
        there = {day for day, _, _ in day_results(connection, site.id, moved[0], moved[-1])}
        stale = there.intersection(moved)
        mark_days(connection, site.id, stale)
        spans = (days_span(first, last, site.zone) for first, last in _stretches(moved))
        reached = sum(mark_span(connection, site, span.start_ms, span.end_ms) for span in spans)
        return max(reached, len(stale))


def _stretches(days: Sequence[date]) -> Iterator[tuple[date, date]]:
    """Yield the first and the last of days that follow one another."""
    first = days[0]
    for day, after in pairwise([*days, date.max]):
        if (after - day).days > 1:
            yield first, day
            first = after
