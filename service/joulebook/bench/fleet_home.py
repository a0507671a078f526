"""What one home costs that reports at the full rate: 20 quantities every ten seconds, for weeks.

The fleets report more seldom, so that a thousand of them fit into minutes; they tell how costs
grow. How much a home's day costs is measured here.
"""

import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

from joulebook.bench.fleet_costs import ALL_ROWS
from joulebook.bench.fleet_sites import add_homes
from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.site import START_MS, Plan, pieces, readings_in
from joulebook.core.curves import MAX_GAP_S
from joulebook.ingest.bulk import BulkImport
from joulebook.reminders.looking_back import seen_back
from joulebook.storage.database import Connection, Database
from joulebook.storage.proving_ground import shrink_whole, tidy, used_bytes
from joulebook.storage.records import Site
from joulebook.storage.sealing import MERGE_AFTER_DAYS, seal
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import catch_up
from joulebook.summaries.record_update import update_record

_WEEK_DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """Seconds by the clock, and those that this process had a processor: the rest was waiting."""

    took_s: float
    own_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FullHome:
    """What was measured, of one home.

    Attributes
    ----------
    days : int
        How long it reported.
    readings : int
        In all.
    hot_bytes, sealed_bytes : float
        A reading's share of the database: as it came, and once all is sealed by week, with quarter
        hours, results and all.
    day, seal, record : Work
        For a day's results and quarter hours; to seal a day's readings and later join the week's;
        for the analysis of the whole record, by the days that it has.
    back : Work
        For a look back, as each hour: at days, the checks of a week, and the analysis.
    """

    days: int
    readings: int
    hot_bytes: float
    sealed_bytes: float
    day: Work
    seal: Work
    record: Work
    back: Work


def full_home(database: Database, days: int) -> FullHome:
    """Let one home report for some days in a new database, and return what it costs.

    Raises
    ------
    WrongAnswerError
        If a day is not computed or not sealed.
    """
    plan = Plan(days=days)
    [site] = add_homes(database, 1)
    end_ms = plan.span.end_ms
    with closing(database.connect()) as connection:
        empty_bytes = used_bytes(connection)
        readings = 0
        with closing(BulkImport(database, site, source="bench", clock_ms=lambda: end_ms)) as taking:
            for piece in pieces(plan):
                readings += readings_in(piece)
                for columns in piece:
                    taking.add(columns)
        tidy(connection)
        hot_bytes = used_bytes(connection) - empty_bytes
        day = _worked(lambda: _compute(database, site, days, end_ms), days)
        record = _worked(
            lambda: update_record(database, site, clock_ms=lambda: end_ms, max_gap_s=MAX_GAP_S),
            days,
        )
        back = _worked(lambda: list(seen_back(database, connection, site, {}, now_ms=end_ms)), 1)
        sealing = _worked(lambda: _seal(connection, end_ms, days), days)
        # Blocks of days left room behind when weeks were made of them; over years that is little.
        shrink_whole(connection)
        sealed_bytes = used_bytes(connection) - empty_bytes
    return FullHome(
        days=days,
        readings=readings,
        hot_bytes=hot_bytes / readings,
        sealed_bytes=sealed_bytes / readings,
        day=day,
        seal=sealing,
        record=record,
        back=back,
    )


def _compute(database: Database, site: Site, days: int, end_ms: int) -> None:
    """Compute the results of all days, and the quarter hours that charts are drawn of."""
    computed = catch_up(database, site, clock_ms=lambda: end_ms, helped=False)
    _require(computed >= days, f"{computed} days were computed of {days}")
    rebuild_quarters(database, site)


def _seal(connection: Connection, end_ms: int, days: int) -> None:
    """Seal each day, as every night does, and then join the weeks."""
    # The clock stands before all weeks, so that none is old enough to be joined.
    daily = seal(connection, START_MS, keep_hot_days=-days - 1, rows_at_once=ALL_ROWS)
    _require(daily.blocks >= days, f"{daily.blocks} blocks of {days} days")
    later_ms = end_ms + (MERGE_AFTER_DAYS + _WEEK_DAYS) * DAY_MS
    weeks = seal(connection, later_ms, rows_at_once=ALL_ROWS).weeks
    _require(weeks >= days // _WEEK_DAYS, f"{weeks} weeks of {days} days")


def _worked(work: Callable[[], object], days: int) -> Work:
    began_s, own_began_s = time.perf_counter(), time.process_time()
    work()
    own_s = time.process_time() - own_began_s
    return Work(took_s=(time.perf_counter() - began_s) / days, own_s=own_s / days)


def _require(holds: bool, what: str) -> None:  # noqa: FBT001 -- as an assertion reads
    if not holds:
        raise WrongAnswerError(
            what,
            where="the home at the full rate",
            expected="all of them",
        )
