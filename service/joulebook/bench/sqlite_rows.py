"""A rival: plain SQLite, one row a reading, as one would begin.

The SQL in this and the next modules is the rivals' own; joulebook's stays in storage.
"""

import json
import sqlite3
from collections.abc import Sequence
from itertools import repeat
from pathlib import Path

import numpy as np

from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import MAX_GAP_MS, QUARTER_MS, SIX, Answer, Wanted
from joulebook.bench.site import PLACES, Piece
from joulebook.core.spans import Span

#: ``device.quantity`` in the order of the series' ids.
_SERIES = [f"{device}.{quantity}" for device, of in PLACES.items() for quantity in of]
_ID = {name: number for number, name in enumerate(_SERIES)}

_INSERT = """
    INSERT INTO readings (series_id, at_ms, value)
    VALUES (?, ?, ?)
    ON CONFLICT (series_id, at_ms) DO UPDATE SET value = excluded.value
"""

#: Also DuckDB's. Lines between neighbours, then what lies above and below zero by day.
ENERGY_SQL = """
    WITH lines AS (
        SELECT
            at_ms,
            {power} AS a,
            lead({power}) OVER ({order}) AS b,
            lead(at_ms) OVER ({order}) - at_ms AS step_ms
        FROM {table}
        WHERE {series} at_ms >= ? AND at_ms < ?
    )
    SELECT
        {day} AS day,
        sum(step_ms * CASE
            WHEN a >= 0 AND b >= 0 THEN a + b
            WHEN a <= 0 AND b <= 0 THEN 0.0
            WHEN a > 0 THEN a * a / (a - b)
            ELSE b * b / (b - a)
        END) / 7.2e6 AS charge_wh,
        sum(step_ms * CASE
            WHEN a >= 0 AND b >= 0 THEN 0.0
            WHEN a <= 0 AND b <= 0 THEN -a - b
            WHEN a > 0 THEN b * b / (a - b)
            ELSE a * a / (b - a)
        END) / 7.2e6 AS discharge_wh
    FROM lines
    WHERE step_ms <= {max_gap_ms}
    GROUP BY 1
    ORDER BY 1
"""


class SqliteRows:
    """``readings (series_id, at_ms, value)`` by its primary key, WAL, synchronous FULL."""

    name = "SQLite rows"

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / "rows.sqlite3"
        self._connection = sqlite3.connect(self._path, isolation_level=None)
        self._connection.execute("PRAGMA journal_mode = WAL")
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute(
            """
            CREATE TABLE readings (
                series_id INTEGER NOT NULL,
                at_ms INTEGER NOT NULL,
                value REAL NOT NULL,
                PRIMARY KEY (series_id, at_ms)
            ) WITHOUT ROWID
            """
        )

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def write(self, piece: Piece) -> None:
        """See :class:`questions.Writer`."""
        self._connection.execute("BEGIN IMMEDIATE")
        for columns in piece:
            times = columns.at_ms.tolist()
            for quantity, values in columns.values.items():
                number = _ID[f"{columns.device}.{quantity}"]
                rows = zip(repeat(number), times, values.tolist())
                self._connection.executemany(_INSERT, rows)
        self._connection.execute("COMMIT")

    def take(self, payloads: Sequence[tuple[str, bytes]]) -> None:
        """Store messages, each a device and its SenML pack, in one commit."""
        rows = []
        for device, payload in payloads:
            records = json.loads(payload)
            at_ms = round(records[0]["bt"] * 1000)
            rows += [(_ID[f"{device}.{each['n']}"], at_ms, each["v"]) for each in records]
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.executemany(_INSERT, rows)
        self._connection.execute("COMMIT")

    def finish(self) -> None:
        """See :class:`questions.Writer`."""
        self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._connection.execute("ANALYZE")

    def size_bytes(self) -> int:
        """See :class:`questions.Writer`."""
        return self._path.stat().st_size

    def count(self) -> int:
        """Return how many readings are stored."""
        (count,) = self._connection.execute("SELECT count(*) FROM readings").fetchone()
        return int(count)

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            for quantity in quantities:
                rows = self._connection.execute(
                    """
                    SELECT at_ms, value
                    FROM readings
                    WHERE series_id = ? AND at_ms >= ? AND at_ms < ?
                    ORDER BY at_ms
                    """,
                    (_ID[f"{device}.{quantity}"], span.start_ms, span.end_ms),
                ).fetchall()
                at_ms, value = np.array(rows).T
                answer[f"{device}.at_ms"] = at_ms.astype(np.int64)
                answer[f"{device}.{quantity}"] = value
        return answer

    def quarters(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for quantity in SIX:
            rows = self._connection.execute(
                """
                SELECT at_ms / ?, min(value), avg(value), max(value), count(*)
                FROM readings
                WHERE series_id = ? AND at_ms >= ? AND at_ms < ?
                GROUP BY 1
                ORDER BY 1
                """,
                (QUARTER_MS, _ID[f"battery.{quantity}"], span.start_ms, span.end_ms),
            ).fetchall()
            answer["quarter"], *columns = np.array(rows).T
            for name, column in zip(("low", "mean", "high", "count"), columns, strict=True):
                answer[f"{quantity}.{name}"] = column
        return answer

    def energy(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        sql = ENERGY_SQL.format(
            power="value",
            table="readings",
            series="series_id = ? AND",
            order="ORDER BY at_ms",
            day=f"at_ms / {DAY_MS}",
            max_gap_ms=MAX_GAP_MS,
        )
        rows = self._connection.execute(
            sql, (_ID["battery.power"], span.start_ms, span.end_ms)
        ).fetchall()
        return dict(zip(("day", "charge_wh", "discharge_wh"), np.array(rows).T, strict=True))

    def last(self) -> Answer:
        """See :class:`questions.Reader`."""
        rows = [
            self._connection.execute(
                """
                SELECT at_ms, value
                FROM readings
                WHERE series_id = ?
                ORDER BY at_ms DESC
                LIMIT 1
                """,
                (number,),
            ).fetchone()
            for number in range(len(_SERIES))
        ]
        at_ms, value = zip(*rows, strict=True)
        return {"at_ms": np.array(at_ms), "value": np.array(value)}
