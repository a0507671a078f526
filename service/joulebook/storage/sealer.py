"""Seals what has become old, in a thread of its own, beside the writer and out of its way."""

from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass

from joulebook.storage.blockstore import check_blocks
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import DamagedBlock, SealCounts
from joulebook.storage.rounds import InRounds, Rounds
from joulebook.storage.seal_links import link_unlinked
from joulebook.storage.sealing import KEEP_HOT_DAYS, seal

#: Between two transactions, so that the writer gets the lock first. [s]
PAUSE_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class SealerCounts:
    """How sealing does.

    Attributes
    ----------
    alive : bool
        Whether the thread runs.
    runs : int
        Times it has looked for something to seal, since the start.
    sealed : SealCounts
        What it did since the start.
    failing : tuple of str
        Sentences for a person: why nothing can be sealed now, and which blocks are damaged.
        Empty when all is well.
    """

    alive: bool
    runs: int
    sealed: SealCounts
    failing: tuple[str, ...]


class Sealer(InRounds):
    """Seals old days and joins old weeks; safe to stop, kill and start anywhere.

    Each run also checks some blocks, in turn, so that damage is known before somebody asks for
    just these days.

    Parameters
    ----------
    database : Database
        Where the rows and the blocks are.
    clock_ms : callable
        Now; tells which days are old. [ms, UTC epoch]
    keep_hot_days : int
        UTC days that stay hot, today not counted.
    every_s : float
        How often it looks. [s]
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        keep_hot_days: int = KEEP_HOT_DAYS,
        every_s: float = 600.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._keep_hot_days = keep_hot_days
        self._rounds = Rounds(
            "sealer", self._round, every_s=every_s, failure="nothing can be sealed"
        )
        self._sealed = SealCounts()
        self._checked_id = 0
        self._damaged: dict[int, DamagedBlock] = {}

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._rounds.alive

    def counts(self) -> SealerCounts:
        """Say how sealing does."""
        return SealerCounts(
            alive=self.alive,
            runs=self._rounds.runs,
            sealed=self._sealed,
            failing=(*self._rounds.failing, *map(str, self._damaged.values())),
        )

    def _round(self) -> None:
        with closing(self._database.connect()) as connection:
            self._seal(connection)
            self._check(connection)

    def _seal(self, connection: Connection) -> None:
        counts = seal(
            connection,
            self._clock_ms(),
            keep_hot_days=self._keep_hot_days,
            between=lambda: self._rounds.pause(PAUSE_S),
        )
        self._sealed += counts
        self._note_damaged(counts.damaged)
        link_unlinked(connection, self._clock_ms(), between=lambda: self._rounds.pause(PAUSE_S))

    def _check(self, connection: Connection) -> None:
        last_id, damaged = check_blocks(connection, self._checked_id)
        self._checked_id = last_id or 0
        self._note_damaged(damaged)

    def _note_damaged(self, damaged: Iterable[DamagedBlock]) -> None:
        self._damaged = self._damaged | {block.block_id: block for block in damaged}
