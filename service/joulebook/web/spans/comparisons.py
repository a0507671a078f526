"""A week beside another, over the hours that both have measured.

What two days have in common takes some milliseconds of reading, and stays what it is until one of
them is computed anew: so it is kept at hand.
"""

from collections import OrderedDict
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from threading import Lock

from joulebook.core.daily.same_hours import Compared, Shared, compared
from joulebook.core.spans import date_of, dates
from joulebook.storage.database import Database
from joulebook.storage.days import computed_at
from joulebook.storage.records import Site
from joulebook.summaries.same_hours import shared_days
from joulebook.web.spans.totals import elapsed_hours
from joulebook.web.spans.weeks import Week
from joulebook.web.words.texts import NO_WEEK

#: How many pairs of days are kept at hand, some hundred bytes each: 14 make a page.
_MOST_KEPT = 400

_Key = tuple[Site, date, date]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """A week with another beside it.

    Attributes
    ----------
    other : Week
        That one.
    numbers : dict of str to Compared
        By the energy's name.
    reason : str or None
        Why nothing at all can be compared.
    coverage_ratio : float
        The largest share of the time that any of the numbers rests on.
    """

    other: Week
    numbers: dict[str, Compared]
    reason: str | None
    coverage_ratio: float


class Comparisons:
    """Puts weeks of a site beside each other.

    Parameters
    ----------
    database : Database
        Where readings and results are.
    max_gap_s : float
        No line between two readings bridges more. [s]
    """

    def __init__(self, database: Database, *, max_gap_s: float) -> None:
        self._database = database
        self._max_gap_s = max_gap_s
        self._kept: OrderedDict[_Key, tuple[tuple[int, int], dict[str, Shared]]] = OrderedDict()
        self._lock = Lock()

    def beside(self, site: Site, week: Week, other: Week, *, now_ms: int) -> Beside:
        """Return how a week differs from another, as far as it has passed."""
        today = date_of(now_ms, site.zone)
        pairs = [
            (here, there)
            for here, there in zip(
                dates(week.monday, week.sunday), dates(other.monday, other.sunday), strict=True
            )
            if here <= today
        ]
        shared = self._shared(site, pairs)
        hours = elapsed_hours(week.monday, week.sunday, zone=site.zone, now_ms=now_ms)
        numbers = compared(shared, hours=hours)
        best = max(
            (each.difference for each in numbers.values()), key=lambda each: each.coverage_ratio
        )
        given = any(each.difference.value is not None for each in numbers.values())
        reason = NO_WEEK if not shared else best.reason
        return Beside(
            other=other,
            numbers=numbers,
            reason=None if given else reason,
            coverage_ratio=best.coverage_ratio,
        )

    def _shared(self, site: Site, pairs: list[tuple[date, date]]) -> list[Mapping[str, Shared]]:
        """Return what pairs of days have in common; nothing of those not computed."""
        found: list[Mapping[str, Shared]] = []
        with closing(self._database.connect()) as connection:
            computed = computed_at(connection, site.id, [day for pair in pairs for day in pair])
            for here, there in pairs:
                if here not in computed or there not in computed:
                    continue
                key, stamp = (site, here, there), (computed[here], computed[there])
                kept = self._kept_of(key, stamp)
                if kept is None:
                    kept = shared_days(connection, site, here, there, max_gap_s=self._max_gap_s)
                    self._keep(key, stamp, kept)
                found.append(kept)
        return found

    def _kept_of(self, key: _Key, stamp: tuple[int, int]) -> dict[str, Shared] | None:
        with self._lock:
            kept_stamp, found = self._kept.get(key, (None, None))
        return found if kept_stamp == stamp else None

    def _keep(self, key: _Key, stamp: tuple[int, int], found: dict[str, Shared]) -> None:
        with self._lock:
            self._kept[key] = (stamp, found)
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
