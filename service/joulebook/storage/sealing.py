"""Hot rows into sealed blocks, and the blocks of a week into one.

Rule 1: a hot row is deleted only in a transaction that has seen that it is in a block, as it is.
Rule 2: the write lock is taken for the swap alone; reading and encoding come before it.
Rule 3: whoever wrote to a period meanwhile wins; the period is sealed at the next run.
"""

import logging
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from itertools import pairwise

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock, decode_block, encode_block
from joulebook.storage.blocks.parts import MAX_READINGS, MAX_ROWS, BlockDamagedError
from joulebook.storage.blockstore import (
    StoredBlock,
    block_ids,
    blocks_within,
    named_damage,
    periods_within,
    put_block,
    weeks_of_several,
)
from joulebook.storage.connections import Connection, joined_snapshot, transaction, turn
from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError, names_faults
from joulebook.storage.hotrows import (
    HotDay,
    count_hot,
    delete_hot,
    forget_hot,
    hot_days,
    read_hot,
    unsealed_days,
)
from joulebook.storage.overlays import Kinds, in_line, overlaid
from joulebook.storage.periods import DAY_MS, day_of, day_period, week_period
from joulebook.storage.records import DamagedBlock, SealCounts
from joulebook.storage.seal_links import link_block
from joulebook.storage.series import series_of_device
from joulebook.storage.shrinking import shrink

_log = logging.getLogger(__name__)

#: Days of UTC that stay hot, today not counted.
KEEP_HOT_DAYS = 2
#: A week becomes one block once it ended so many days ago: few late readings come after that.
MERGE_AFTER_DAYS = 14
#: A week with more rows has long days, and nothing is gained by joining them.
MOST_WEEK_ROWS = 2**18
#: Hot rows that one transaction deletes beside a running service: a few milliseconds.
ROWS_AT_ONCE = 10_000

# On a server two may seal: a device is one's at a time, so that nothing is encoded twice for
# nothing. Rule 3 alone keeps the readings right.
_SEALING = "seal"


def go_on() -> bool:
    """Take no pause, and do not stop."""
    return True


@names_faults
def seal(
    connection: Connection,
    now_ms: int,
    *,
    keep_hot_days: int = KEEP_HOT_DAYS,
    rows_at_once: int = ROWS_AT_ONCE,
    between: Callable[[], bool] = go_on,
    progress: Callable[[int, int], None] | None = None,
) -> SealCounts:
    """Seal what is old enough, then join the blocks of old weeks. May be ended at any moment.

    Parameters
    ----------
    now_ms : int
        Now. A clock that is wrong only makes days be sealed early or late. [ms, UTC epoch]
    keep_hot_days : int
        UTC days that stay hot, today not counted.
    rows_at_once : int
        How many hot rows a transaction deletes, while others wait to write.
    between : callable
        Called after each transaction: the place to pause. What it returns tells whether to go on.
    progress : callable, optional
        Told how many days of a device are done, of how many.

    Raises
    ------
    StorageUnavailableError
        If the disk is full or the file cannot be written. All readings are as they were.
    """
    merge_before_ms = week_period(now_ms - MERGE_AFTER_DAYS * DAY_MS).start_ms
    days = unsealed_days(connection, day_of(now_ms) - keep_hot_days)
    counts = SealCounts()
    for done, (device_id, day) in enumerate(days, start=1):
        with turn(connection, _SEALING, device_id) as mine:
            if mine:
                found = _read_period(connection, device_id, day, merge_before_ms)
                if isinstance(found, SealCounts):
                    counts += found
                else:
                    counts += _seal_period(connection, found, now_ms, rows_at_once, between)
            else:
                counts += SealCounts(postponed=1)
        if progress is not None:
            progress(done, len(days))
        if not between():
            return counts
    for device_id, at_ms in weeks_of_several(connection, merge_before_ms, MOST_WEEK_ROWS):
        with turn(connection, _SEALING, device_id) as mine:
            counts += (
                _merge_week(connection, device_id, week_period(at_ms))
                if mine
                else SealCounts(postponed=1)
            )
        if not between():
            return counts
    return counts


def seal_all(
    database: Database, now_ms: int, progress: Callable[[int, int], None] | None = None
) -> SealCounts:
    """Seal what is old enough as fast as it goes, and give back the space: after an import.

    Others who write wait some tenths of a second now and then, and longer at the end, while the
    file is written anew.

    Raises
    ------
    StorageUnavailableError
        As :func:`seal` does.
    """
    with closing(database.connect()) as connection:
        counts = seal(connection, now_ms, rows_at_once=MOST_WEEK_ROWS, progress=progress)
        try:
            shrink(connection)
        except StorageUnavailableError as error:
            _log.warning("the database file keeps its size: %s", error.what)
    return counts


@dataclass(frozen=True, slots=True)
class _Found:
    """What a device has in a period as of one commit, and the marks that tell it from later."""

    device_id: int
    site_id: int
    period: Span
    marks: list[HotDay]
    blocks: list[StoredBlock]
    hot: DeviceBlock
    kinds: Kinds

    def unchanged(self, connection: Connection, ids: list[int]) -> bool:
        """Tell, in a transaction, whether nobody has written to the period since."""
        return (
            block_ids(connection, self.device_id, self.period) == ids
            and hot_days(connection, self.device_id, self.period) == self.marks
        )


def _read_period(
    connection: Connection, device_id: int, day: int, merge_before_ms: int
) -> _Found | SealCounts:
    """Read the block that a hot day belongs into, and the hot rows that belong there too.

    Counts come back where there is nothing to do.
    """
    with joined_snapshot(connection):
        period = _period_of(connection, device_id, day_period(day), merge_before_ms)
        marks = hot_days(connection, device_id, period)
        if not marks:
            return SealCounts()  # sealed with another day of its week, or by another process
        series = series_of_device(connection, device_id)
        blocks = list(blocks_within(connection, device_id, period))
        rows = count_hot(connection, device_id, period) + sum(block.rows for block in blocks)
        if rows > min(MAX_ROWS, MAX_READINGS // len(series)):
            return SealCounts(too_many_rows=1)
        return _Found(
            device_id,
            _site_of(connection, device_id),
            period,
            marks,
            blocks,
            read_hot(connection, device_id, period, series),
            {one.id: one.kind for one in series},
        )


def _site_of(connection: Connection, device_id: int) -> int:
    (site_id,) = connection.execute(
        "SELECT site_id FROM devices WHERE id = ?", (device_id,)
    ).fetchone()
    return int(site_id)


def _period_of(connection: Connection, device_id: int, day: Span, merge_before_ms: int) -> Span:
    """Return the period of the block that a day belongs into, whether it is there or not."""
    week = week_period(day.start_ms)
    periods = periods_within(connection, device_id, week)
    for period in periods:
        if period.start_ms <= day.start_ms < period.end_ms:
            return period
    if periods or week.start_ms >= merge_before_ms:
        return day
    # Old and none of it sealed, as after an import: why make seven blocks of it first?
    return week if count_hot(connection, device_id, week) <= MOST_WEEK_ROWS else day


def _seal_period(
    connection: Connection,
    found: _Found,
    now_ms: int,
    rows_at_once: int,
    between: Callable[[], bool],
) -> SealCounts:
    """Put the hot rows of a period into its block, and delete them."""
    below, damaged = _decoded(connection, found.blocks, found.kinds)
    if damaged:
        return SealCounts(damaged=damaged)
    if not len(found.hot.at_ms):  # every reading was taken back: nothing but the note is left
        with transaction(connection, (found.site_id,)):
            if found.unchanged(connection, [block.id for block in found.blocks]):
                forget_hot(connection, found.device_id, found.period)
        return SealCounts()
    whole = _without_empty(overlaid(below, found.hot, found.kinds))
    data = encode_block(whole)
    ids = [block.id for block in found.blocks]
    edges = [*found.hot.at_ms[::rows_at_once].tolist(), found.period.end_ms]
    for number, (start_ms, end_ms) in enumerate(pairwise(edges)):
        # Between the transactions a row is in the block and hot as well: it reads the same.
        if number and not between():
            return SealCounts(blocks=1, rows=len(whole.at_ms))
        with transaction(connection, (found.site_id,)):
            if not found.unchanged(connection, ids):
                return SealCounts(postponed=1)
            # First the rows, then the block: what they leave behind is room for it.
            delete_hot(connection, found.device_id, Span(start_ms, end_ms))
            if not number:
                ids = [put_block(connection, found.device_id, found.period, whole, data)]
                link_block(connection, found.device_id, whole, now_ms)
            if end_ms == found.period.end_ms:
                forget_hot(connection, found.device_id, found.period)
    return SealCounts(blocks=1, rows=len(whole.at_ms))


def _merge_week(connection: Connection, device_id: int, week: Span) -> SealCounts:
    """Make one block of those of a week. Hot rows have no part in it."""
    with joined_snapshot(connection):
        blocks = list(blocks_within(connection, device_id, week))
        kinds = {one.id: one.kind for one in series_of_device(connection, device_id)}
        site_id = _site_of(connection, device_id)
    whole, damaged = _decoded(connection, blocks, kinds)
    if damaged:
        return SealCounts(damaged=damaged)
    whole = _without_empty(whole)
    data = encode_block(whole)
    with transaction(connection, (site_id,)):
        if block_ids(connection, device_id, week) != [block.id for block in blocks]:
            return SealCounts(postponed=1)
        put_block(connection, device_id, week, whole, data)
    return SealCounts(weeks=1)


def _decoded(
    connection: Connection, blocks: list[StoredBlock], kinds: Kinds
) -> tuple[DeviceBlock, tuple[DamagedBlock, ...]]:
    parts, damaged = [], []
    for block in blocks:
        try:
            parts.append(decode_block(block.data))
        except BlockDamagedError as error:
            damaged.append(named_damage(connection, block, error))
    return in_line(parts, kinds), tuple(damaged)


def _without_empty(block: DeviceBlock) -> DeviceBlock:
    """Leave out series that have no value in the block."""
    return DeviceBlock(
        block.at_ms,
        {series: column for series, column in block.columns.items() if column.present().any()},
    )
