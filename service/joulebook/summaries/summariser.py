"""Keeps day results and quarter hours up with the readings, in a thread of its own."""

import logging
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from functools import partial

from joulebook.core.curves import MAX_GAP_S
from joulebook.core.daily.days import DayResult
from joulebook.core.spans import date_of
from joulebook.errors import JoulebookError
from joulebook.storage.catalogue import sites, some_sites
from joulebook.storage.database import Connection, Database, transaction, turn
from joulebook.storage.days import dirty_count, dirty_days, save_day
from joulebook.storage.pulse import Pulse, worker_thread
from joulebook.storage.records import Site
from joulebook.summaries.quarters import catch_up_quarters, renew_quarters
from joulebook.summaries.recompute import ALL_DAYS
from joulebook.summaries.results import encoded, mark_outdated
from joulebook.summaries.stretches import Failed, compute_stretch, stretches
from joulebook.summaries.zones import note_zone_rules

_log = logging.getLogger(__name__)

#: A day that failed is tried again after this, then twice as long, up to the limit. [s]
FIRST_RETRY_S = 30.0
LONGEST_RETRY_S = 3600.0
#: Readings that never pause are summed up this often all the same. [s]
LONGEST_SETTLE_S = 15.0

#: Without a nudge it looks this often: the command line marks days too, after a correction. [s]
LOOK_AGAIN_S = 60.0

Key = tuple[int, date]


@dataclass(frozen=True, slots=True, kw_only=True)
class SummariserCounts:
    """How the summaries do.

    Attributes
    ----------
    alive : bool
        Whether the thread runs.
    dirty_days : int
        Days whose result is behind their readings.
    days_computed : int
        Since the start.
    failing : tuple of str
        Sentences for a person: what cannot be computed now, and why. Empty when all is well.
    caught_up_ms : int or None
        When nothing was behind for the last time; ``None``: not since the start. [ms, UTC epoch]
    """

    alive: bool
    dirty_days: int
    days_computed: int
    failing: tuple[str, ...]
    caught_up_ms: int | None


@dataclass(frozen=True, slots=True)
class _Trouble:
    sentence: str
    tries: int
    retry_at_ms: int


class Summariser:
    """Computes dirty days soon after their readings arrive; safe to stop and start anywhere.

    Parameters
    ----------
    database : Database
        Where readings, marks and results are.
    clock_ms : callable
        Now; tells which day is today and when to try again. [ms, UTC epoch]
    max_gap_s : float
        No integral bridges more. [s]
    settle_s : float
        How long it stays quiet after the last nudge before it computes: a burst costs one run.
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        max_gap_s: float = MAX_GAP_S,
        settle_s: float = 2.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._max_gap_s = max_gap_s
        self._settle_s = settle_s
        self._changed = threading.Condition()
        self._nudges = 0
        self._stopping = False
        self._thread: threading.Thread | None = None
        self._troubles: dict[Key, _Trouble] = {}
        self._away: _Trouble | None = None
        self._zones: dict[int, str] = {}
        self._computed = 0
        self._caught_up_ms: int | None = None
        self._pulse = Pulse()
        self._dirty = 0

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def silent_s(self) -> float:
        """How long it has been at work without a step; 0 while nothing is to be done. [s]"""
        return self._pulse.silent_s

    def start(self) -> None:
        """Start the thread; it begins with whatever is dirty."""
        self._stopping = False
        self.restart()

    def restart(self) -> None:
        """Start another thread after the last one died or got stuck; that ends at its next step."""
        self._pulse.rest()
        self._thread = worker_thread("summariser", self._run)
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """End after the stretch that is being computed; what is left stays dirty."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def nudge(self) -> None:
        """Say that readings were committed. May be called from any thread, at any rate."""
        with self._changed:
            self._nudges += 1
            self._changed.notify_all()

    def counts(self) -> SummariserCounts:
        """Say how the summaries do."""
        troubles = [*self._troubles.values(), *([self._away] if self._away else [])]
        return SummariserCounts(
            alive=self.alive,
            dirty_days=self._dirty_now(),
            days_computed=self._computed,
            failing=tuple(trouble.sentence for trouble in troubles),
            caught_up_ms=self._caught_up_ms,
        )

    def _dirty_now(self) -> int:
        try:
            with closing(self._database.connect()) as connection:
                self._dirty = dirty_count(connection)
        except JoulebookError:
            pass  # the last count stays; that the database is away is told in `failing`
        return self._dirty

    def _run(self) -> None:
        outdated = True
        while self._goes_on():
            seen = self._nudges
            try:
                with closing(self._database.connect()) as connection:
                    if outdated:
                        mark_outdated(self._database, connection)
                        renew_quarters(connection)
                        outdated = False
                    self._note_zones(connection)
                    self._catch_up(connection)
                    catch_up_quarters(
                        connection, now_ms=self._clock_ms(), stopping=lambda: not self._goes_on()
                    )
                self._away = None
                if self._goes_on() and not self._troubles:
                    self._caught_up_ms = self._clock_ms()
            except JoulebookError as error:
                _log.warning("summaries wait: %s", error.what)
                self._away = _trouble(error.what, self._away, self._clock_ms())
            except Exception as error:  # noqa: BLE001 -- told in health; the thread goes on
                _log.exception("summaries failed")
                self._away = _trouble(
                    f"{type(error).__name__}: {error}", self._away, self._clock_ms()
                )
            if self._goes_on():
                self._wait(seen)

    def _wait(self, seen: int) -> None:
        """Sleep until there is a reason to look again, and then until the nudges pause."""
        now_ms = self._clock_ms()
        retries = [trouble.retry_at_ms for trouble in self._troubles.values()]
        if self._away is not None:
            retries.append(self._away.retry_at_ms)
        timeout = min([LOOK_AGAIN_S, *(max(at_ms - now_ms, 0) / 1000 for at_ms in retries)])
        self._pulse.rest()
        with self._changed:
            self._changed.wait_for(partial(self._told_since, seen), timeout)
            latest = time.monotonic() + LONGEST_SETTLE_S
            quiet = False
            while not (quiet or self._stopping) and time.monotonic() < latest:
                before = self._nudges
                quiet = not self._changed.wait_for(
                    partial(self._told_since, before), self._settle_s
                )

    def _told_since(self, nudges: int) -> bool:
        return self._stopping or self._nudges != nudges

    def _goes_on(self) -> bool:
        """Take note of a step; tell whether there may be another."""
        if self._stopping or threading.current_thread() is not self._thread:
            return False
        self._pulse.beat()
        return True

    def _note_zones(self, connection: Connection) -> None:
        """Look at each site's zone once, and again where its owner chose another."""
        for site in sites(self._database):
            if self._zones.get(site.id) != site.timezone:
                note_zone_rules(connection, site, now_ms=self._clock_ms())
                self._zones[site.id] = site.timezone

    def _catch_up(self, connection: Connection) -> None:
        """Compute what is dirty: today first, then the oldest first."""
        all_dirty = dirty_days(connection, ALL_DAYS)
        # Sites after the days: one that was added meanwhile is then among them.
        wanted = {dirty.site_id for dirty in all_dirty}
        by_id = {site.id: site for site in some_sites(self._database, wanted)}
        now_ms = self._clock_ms()
        marks: dict[int, dict[date, int]] = {}
        for dirty in all_dirty:
            trouble = self._troubles.get((dirty.site_id, dirty.day))
            if trouble is None or trouble.retry_at_ms <= now_ms:
                marks.setdefault(dirty.site_id, {})[dirty.day] = dirty.mark
        todays, olders = [], []
        for site_id, days in marks.items():
            site = by_id[site_id]
            today = date_of(now_ms, site.zone)
            if today in days:
                todays.append((site, [today]))
            olders += [(site, part) for part in stretches([day for day in days if day != today])]
        for site, stretch in [*todays, *sorted(olders, key=lambda older: older[1][0])]:
            if not self._goes_on():
                return
            # Another service on the same server may be at this site's days; it does them.
            with turn(connection, "days", site.id) as is_ours:
                if is_ours:
                    self._compute(connection, site, stretch, marks[site.id], now_ms)

    def _compute(
        self,
        connection: Connection,
        site: Site,
        stretch: list[date],
        marks: dict[date, int],
        now_ms: int,
    ) -> None:
        try:
            results = list(compute_stretch(connection, site, stretch, max_gap_s=self._max_gap_s))
        except JoulebookError:
            raise
        except Exception as error:  # noqa: BLE001 -- a bug of ours costs its days, not the others
            _log.exception("days from %s of site %s could not be read", stretch[0], site.name)
            results = [Failed(day, f"{type(error).__name__}: {error}") for day in stretch]
        good = [result for result in results if isinstance(result, DayResult)]
        with transaction(connection, [site.id]):
            for result in good:
                save_day(
                    connection,
                    site.id,
                    result.date,
                    result.method,
                    encoded(result),
                    marks[result.date],
                    now_ms,
                )
        self._computed += len(good)
        for result in good:
            self._troubles.pop((site.id, result.date), None)
        for failed in results:
            if isinstance(failed, Failed):
                key = (site.id, failed.day)
                sentence = f"day {failed.day} of site {site.name} is not computed: {failed.why}"
                self._troubles[key] = _trouble(sentence, self._troubles.get(key), now_ms)


def _trouble(sentence: str, before: _Trouble | None, now_ms: int) -> _Trouble:
    tries = before.tries + 1 if before else 1
    wait_s = min(FIRST_RETRY_S * 2 ** (tries - 1), LONGEST_RETRY_S)
    return _Trouble(sentence, tries, now_ms + round(wait_s * 1000))
