"""A rival: DuckDB, a table for each device with a column for each quantity."""

from pathlib import Path
from typing import Any

import numpy as np

from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import MAX_GAP_MS, QUARTER_MS, SIX, Answer, Wanted
from joulebook.bench.site import PLACES, Piece
from joulebook.bench.sqlite_rows import ENERGY_SQL
from joulebook.core.spans import Span


class DuckdbTables:
    """Rows in the order of time, as many threads as DuckDB takes by itself: one a core."""

    name = "DuckDB"

    def __init__(self, folder: Path) -> None:
        import duckdb

        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / "tables.duckdb"
        self._connection: Any = duckdb.connect(str(self._path))
        for device, quantities in PLACES.items():
            columns = ", ".join(f"{name} {_type(places)}" for name, places in quantities.items())
            self._connection.execute(f"CREATE TABLE {device} (at_ms BIGINT, {columns})")

    @property
    def threads(self) -> int:
        """How many threads it uses."""
        (threads,) = self._connection.execute("SELECT current_setting('threads')").fetchone()
        return int(threads)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def write(self, piece: Piece) -> None:
        """See :class:`questions.Writer`."""
        self._connection.execute("BEGIN")
        for columns in piece:
            # DuckDB finds the arrays by the name of this variable.
            arrays = {"at_ms": columns.at_ms, **columns.values}
            self._connection.register("arrays", arrays)
            self._connection.execute(
                f"INSERT INTO {columns.device} SELECT * FROM arrays"  # noqa: S608 -- names of ours
            )
            self._connection.unregister("arrays")
        self._connection.execute("COMMIT")

    def finish(self) -> None:
        """See :class:`questions.Writer`. Also makes its own table of quarter hours."""
        self._connection.execute("CHECKPOINT")

    def keep_quarters(self) -> None:
        """Make a table of quarter hours, for the fair question how fast such a table is read."""
        self._connection.execute(f"CREATE TABLE quarters AS {_quarters_sql('')}")
        self._connection.execute("CHECKPOINT")

    def size_bytes(self) -> int:
        """See :class:`questions.Writer`."""
        return self._path.stat().st_size

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            found = self._arrays(
                f"""
                SELECT at_ms, {", ".join(quantities)}
                FROM {device}
                WHERE at_ms >= ? AND at_ms < ?
                ORDER BY at_ms
                """,  # noqa: S608 -- names of ours
                span,
            )
            answer.update({f"{device}.{name}": array for name, array in found.items()})
        return answer

    def quarters(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        return self._arrays(_quarters_sql("WHERE at_ms >= ? AND at_ms < ?"), span)

    def kept_quarters(self, span: Span) -> Answer:
        """Answer :meth:`quarters` from the table of :meth:`keep_quarters`."""
        quarters = Span(span.start_ms // QUARTER_MS, span.end_ms // QUARTER_MS)
        sql = "SELECT * FROM quarters WHERE quarter >= ? AND quarter < ? ORDER BY quarter"
        return self._arrays(sql, quarters)

    def energy(self, span: Span) -> Answer:
        """See :class:`questions.Reader`.

        The order is asked for, as it must be wherever a late reading may have been appended:
        joulebook's answer does not rest on the order in which readings came either.
        """
        return self._energy(span, order="ORDER BY at_ms")

    def energy_as_rows_lie(self, span: Span) -> Answer:
        """Answer :meth:`energy` while rows happen to lie in the order of time, unsorted."""
        return self._energy(span, order="")

    def _energy(self, span: Span, *, order: str) -> Answer:
        sql = ENERGY_SQL.format(
            power="CAST(power AS DOUBLE)",
            table="battery",
            series="",
            order=order,
            day=f"at_ms // {DAY_MS}",
            max_gap_ms=MAX_GAP_MS,
        )
        return self._arrays(sql, span)

    def last(self) -> Answer:
        """See :class:`questions.Reader`."""
        at_ms: list[int] = []
        values: list[float] = []
        for device in PLACES:
            newest = self._connection.execute(
                # Three times as fast as ordering and taking the first.
                f"SELECT * FROM {device} WHERE at_ms = (SELECT max(at_ms) FROM {device})"  # noqa: S608
            ).fetchone()
            at_ms += [newest[0]] * (len(newest) - 1)
            values += map(float, newest[1:])
        return {"at_ms": np.array(at_ms), "value": np.array(values)}

    def _arrays(self, sql: str, span: Span) -> Answer:
        found: Answer = self._connection.execute(sql, (span.start_ms, span.end_ms)).fetchnumpy()
        return found


def _type(places: int) -> str:
    """Return the type that packs best what an instrument shows: about half of what DOUBLE takes."""
    return f"DECIMAL(9, {places})" if places > 0 else "INTEGER"


def _quarters_sql(where: str) -> str:
    columns = ", ".join(
        f'min({name}) AS "{name}.low", avg({name}) AS "{name}.mean", '
        f'max({name}) AS "{name}.high", count({name}) AS "{name}.count"'
        for name in SIX
    )
    return f"""
        SELECT at_ms // {QUARTER_MS} AS quarter, {columns}
        FROM battery
        {where}
        GROUP BY quarter
        ORDER BY quarter
    """  # noqa: S608 -- names of ours
