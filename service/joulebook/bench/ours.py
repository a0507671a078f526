"""joulebook itself, through the same functions as the service and the commands use."""

from itertools import pairwise
from pathlib import Path

import numpy as np

from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import MAX_GAP_MS, QUARTER_MS, SIX, Answer, Wanted
from joulebook.bench.site import PLACES, SITE, START_MS, TIMEZONE, Piece
from joulebook.core.daily.daily_sums import daily_sums
from joulebook.core.spans import Span
from joulebook.ingest.bulk import BulkImport
from joulebook.storage.blocks.block import DeviceBlock, encode_block
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blockstore import blocks_within
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.quarters import read_quarters
from joulebook.storage.reading import latest_readings, read_device
from joulebook.storage.sealing import seal
from joulebook.storage.series import series_of
from joulebook.storage.stepped import stream_stepped
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import recompute

#: More than any block holds: with nobody waiting, hot rows are deleted at once.
_ALL_ROWS = 1_000_000


class Joulebook:
    """A data directory as ``joulebook serve`` has it. Its clock stands at the span's end."""

    name = "joulebook"

    def __init__(self, folder: Path, span: Span) -> None:
        self._span = span
        self._database = Database.open(folder)
        self._site = add_site(self._database, SITE, TIMEZONE, battery_ah=280, battery_cells=16)
        self._import = BulkImport(
            self._database, self._site, source="bench", clock_ms=lambda: span.end_ms
        )
        self._connection = self._database.connect()

    def close(self) -> None:
        """Close the database."""
        self._connection.close()
        self._import.close()
        self._database.close()

    def write(self, piece: Piece) -> None:
        """See :class:`questions.Writer`: into hot rows, as an import does."""
        for columns in piece:
            self._import.add(columns)

    def seal_days(self) -> int:
        """Seal every hot day; return how many rows that were."""
        # The clock stands before all weeks, so that none is old enough to be merged.
        days = (self._span.end_ms - START_MS) // DAY_MS
        counts = seal(self._connection, START_MS, keep_hot_days=-days, rows_at_once=_ALL_ROWS)
        return counts.rows

    def merge_weeks(self) -> int:
        """Make one block of those of each week; return how many weeks of devices that were."""
        later_ms = self._span.end_ms + 30 * DAY_MS
        return seal(self._connection, later_ms, rows_at_once=_ALL_ROWS).weeks

    def quarters_anew(self) -> None:
        """Throw the quarter hours away and compute them from all readings."""
        rebuild_quarters(self._database, self._site)

    def block_bytes(self) -> int:
        """Return what the sealed blocks take, without the file around them."""
        devices = {series.device_id for series in series_of(self._connection, self._site.id)}
        return sum(
            len(block.data)
            for device_id in sorted(devices)
            for block in blocks_within(self._connection, device_id, self._span)
        )

    def results_anew(self) -> int:
        """Throw all days' results away and compute them; return how many."""
        return recompute(self._database, self._site, clock_ms=lambda: self._span.end_ms)

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            readings = read_device(
                self._connection, self._site.id, device, span, quantities=quantities
            )
            answer[f"{device}.at_ms"] = readings.at_ms
            answer.update({f"{device}.{name}": readings.values[name] for name in quantities})
        return answer

    def quarters(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        read = read_quarters(self._connection, self._site.id, "battery", span, quantities=SIX)
        answer: Answer = {}
        for name, quarters in read.quantities.items():
            there = quarters.count > 0
            answer["quarter"] = quarters.start_ms[there] // QUARTER_MS
            answer[f"{name}.low"] = quarters.low[there]
            answer[f"{name}.mean"] = quarters.mean[there]
            answer[f"{name}.high"] = quarters.high[there]
            answer[f"{name}.count"] = quarters.count[there]
        return answer

    def energy(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        edges_ms = np.arange(span.start_ms, span.end_ms + 1, DAY_MS)
        parts = stream_stepped(self._connection, self._site.id, "battery", "power", span)
        sums = daily_sums(parts, edges_ms, max_gap_ms=MAX_GAP_MS)
        there = sums.covered_ms > 0
        return {
            "day": edges_ms[:-1][there] // DAY_MS,
            "charge_wh": sums.above[there],
            "discharge_wh": sums.below[there],
        }

    def last(self) -> Answer:
        """See :class:`questions.Reader`."""
        newest = {
            (latest.series.device, latest.series.quantity): latest
            for latest in latest_readings(self._connection, self._site.id)
        }
        found = [newest[device, name] for device, of in PLACES.items() for name in of]
        return {
            "at_ms": np.array([latest.at_ms for latest in found]),
            "value": np.array([latest.value for latest in found]),
        }


class Packing:
    """Only arrays into sealed blocks of a day, as fast as that goes: no rows, no database."""

    name = "joulebook, blocks alone"

    def __init__(self) -> None:
        self.bytes = 0

    def write(self, piece: Piece) -> None:
        """Encode a piece by day, and count the bytes."""
        for columns in piece:
            at_ms = columns.at_ms
            days = np.arange(at_ms[0] // DAY_MS + 1, at_ms[-1] // DAY_MS + 1)
            edges = [0, *np.searchsorted(at_ms, days * DAY_MS).tolist(), at_ms.size]
            for first, last in pairwise(edges):
                block = DeviceBlock(
                    at_ms[first:last],
                    {
                        series: Column("number", values[first:last])
                        for series, values in enumerate(columns.values.values())
                    },
                )
                self.bytes += len(encode_block(block))
