"""Connections to a server that are kept open between uses."""

from typing import Any

import psycopg
from sqlalchemy.pool import PoolProxiedConnection, QueuePool

from joulebook.storage.narrowing import Narrowing
from joulebook.storage.postgres.connecting import connect
from joulebook.storage.postgres.policies import NARROW, WIDEN, values_of
from joulebook.storage.postgres.values import adapt

#: A connection that was lent, and that must be given back.
Lent = PoolProxiedConnection


class Pool:
    """Lends connections, at most so many at once; who asks waits for one to be given back.

    A connection is made in the thread that asks: so a server that is away is told at once, by its
    own error.

    Parameters
    ----------
    connections : int
        At most so many.
    wait_s : float
        How long to wait where all are lent. [s]
    """

    def __init__(self, url: str, given: dict[str, Any], *, connections: int, wait_s: float) -> None:
        self._url = url
        self._given = given
        self._pool = QueuePool(
            self._new,
            pool_size=connections,
            max_overflow=0,
            timeout=wait_s,
            use_lifo=True,  # the others end, of old age, on a quiet day
            recycle=3600,
            reset_on_return=None,  # we do, for our connections begin transactions themselves
        )

    def lend(self, narrowing: Narrowing | None = None) -> Lent:
        """Return a connection that works, and sees rows of whom it is narrowed to alone.

        Raises
        ------
        psycopg.OperationalError
            If the server is away.
        sqlalchemy.exc.TimeoutError
            If all are lent for too long.
        """
        while True:
            lent = self._pool.connect()
            try:
                # Here too, for one that nobody gave back comes back as it was left.
                raw_of(lent).execute(WIDEN)
            except psycopg.Error:
                lent.invalidate()  # the server was restarted since; a new one tells if it is away
            else:
                break
        if narrowing is not None:
            try:
                raw_of(lent).execute(NARROW, values_of(narrowing, local=False))
            except psycopg.Error:
                self.give_back(lent)
                raise
        return lent

    def give_back(self, lent: Lent) -> None:
        """Take a connection back, as it was when it was lent."""
        if lent.driver_connection is None:
            return  # it was given back before, and no other could be lent in its place
        raw = raw_of(lent)
        try:
            if raw.info.transaction_status != psycopg.pq.TransactionStatus.IDLE:
                raw.execute("ROLLBACK")
            raw.execute(WIDEN)
        except psycopg.Error:
            lent.invalidate()
        lent.close()

    def close(self) -> None:
        """Close all connections that nobody holds."""
        self._pool.dispose()

    def _new(self) -> Any:
        raw = connect(self._url, self._given, autocommit=True)
        adapt(raw)
        return raw


def raw_of(lent: Lent) -> psycopg.Connection[Any]:
    """Return the driver's own connection."""
    raw: psycopg.Connection[Any] = lent.driver_connection  # type: ignore[assignment]
    return raw
