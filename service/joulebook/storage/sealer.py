"""Seals what has become old, in a thread of its own, beside the writer and out of its way."""

import logging
import threading
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass

from joulebook.errors import JoulebookError
from joulebook.storage.blockstore import check_blocks
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import DamagedBlock, SealCounts
from joulebook.storage.sealing import KEEP_HOT_DAYS, seal

_log = logging.getLogger(__name__)

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


class Sealer:
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
        self._every_s = every_s
        self._changed = threading.Condition()
        self._nudged = False
        self._stopping = False
        self._thread: threading.Thread | None = None
        self._sealed = SealCounts()
        self._runs = 0
        self._away: str | None = None
        self._checked_id = 0
        self._damaged: dict[int, DamagedBlock] = {}

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> None:
        """Start the thread; it begins with whatever is old enough."""
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="sealer", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """End after the transaction under way; what is left stays hot."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def nudge(self) -> None:
        """Look now, and not only at the next turn: after an import. From any thread."""
        with self._changed:
            self._nudged = True
            self._changed.notify_all()

    def counts(self) -> SealerCounts:
        """Say how sealing does."""
        away = [self._away] if self._away else []
        return SealerCounts(
            alive=self.alive,
            runs=self._runs,
            sealed=self._sealed,
            failing=(*away, *map(str, self._damaged.values())),
        )

    def _run(self) -> None:
        while not self._stopping:
            self._nudged = False
            try:
                with closing(self._database.connect()) as connection:
                    self._seal(connection)
                    self._check(connection)
                self._away = None
            except JoulebookError as error:
                _log.warning("sealing waits: %s", error.what)
                self._away = f"nothing can be sealed: {error.what}"
            except Exception as error:  # noqa: BLE001 -- told in health; the thread goes on
                _log.exception("sealing failed")
                self._away = f"nothing can be sealed: {type(error).__name__}: {error}"
            with self._changed:
                self._runs += 1
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._nudged or self._stopping, self._every_s)

    def _seal(self, connection: Connection) -> None:
        counts = seal(
            connection,
            self._clock_ms(),
            keep_hot_days=self._keep_hot_days,
            between=self._pause,
        )
        self._sealed += counts
        self._note_damaged(counts.damaged)

    def _pause(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._stopping, PAUSE_S)
        return not self._stopping

    def _check(self, connection: Connection) -> None:
        last_id, damaged = check_blocks(connection, self._checked_id)
        self._checked_id = last_id or 0
        self._note_damaged(damaged)

    def _note_damaged(self, damaged: Iterable[DamagedBlock]) -> None:
        self._damaged = self._damaged | {block.block_id: block for block in damaged}
