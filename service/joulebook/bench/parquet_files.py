"""Two rivals on the same files: Parquet, a file for each device, read by pandas or polars."""

from pathlib import Path
from typing import Any

import numpy as np

from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import MAX_GAP_MS, QUARTER_MS, SIX, Answer, Wanted
from joulebook.bench.site import PLACES, Piece
from joulebook.bench.truth import energy_by_day
from joulebook.core.spans import Span


class ParquetFiles:
    """Written by pyarrow: zstd, a row group a week."""

    name = "Parquet"

    def __init__(self, folder: Path) -> None:
        import pyarrow
        import pyarrow.parquet

        self._pyarrow: Any = pyarrow
        self._parquet: Any = pyarrow.parquet
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._writers: dict[str, Any] = {}

    def path(self, device: str) -> Path:
        """Return a device's file."""
        return self._folder / f"{device}.parquet"

    def write(self, piece: Piece) -> None:
        """See :class:`questions.Writer`."""
        for columns in piece:
            table = self._pyarrow.table({"at_ms": columns.at_ms, **columns.values})
            if columns.device not in self._writers:
                self._writers[columns.device] = self._parquet.ParquetWriter(
                    self.path(columns.device), table.schema, compression="zstd"
                )
            self._writers[columns.device].write_table(table)

    def finish(self) -> None:
        """See :class:`questions.Writer`."""
        for writer in self._writers.values():
            writer.close()

    def size_bytes(self) -> int:
        """See :class:`questions.Writer`."""
        return sum(self.path(device).stat().st_size for device in PLACES)

    def last(self) -> Answer:
        """See :class:`questions.Reader`: the last row of each file's last row group."""
        at_ms: list[int] = []
        values: list[float] = []
        for device in PLACES:
            with self._parquet.ParquetFile(self.path(device)) as file:
                group = file.read_row_group(file.num_row_groups - 1)
            newest = group.slice(group.num_rows - 1).to_pylist()[0]
            at_ms += [newest.pop("at_ms")] * len(newest)
            values += newest.values()
        return {"at_ms": np.array(at_ms), "value": np.array(values)}


class PandasParquet:
    """The files through pandas; sums by numpy."""

    name = "Parquet, pandas"

    def __init__(self, files: ParquetFiles) -> None:
        import pandas

        self._pandas: Any = pandas
        self._files = files
        self.last = files.last

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            frame = self._read(device, quantities, span)
            answer.update({f"{device}.{name}": frame[name].to_numpy() for name in frame})
        return answer

    def quarters(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        frame = self._read("battery", SIX, span)
        groups = frame.groupby(frame.pop("at_ms") // QUARTER_MS)
        answer: Answer = {}
        names = {"low": groups.min, "mean": groups.mean, "high": groups.max, "count": groups.count}
        for name, gather in names.items():
            found = gather()
            answer["quarter"] = found.index.to_numpy()
            answer.update({f"{each}.{name}": found[each].to_numpy() for each in SIX})
        return answer

    def energy(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        frame = self._read("battery", ("power",), span)
        return energy_by_day(frame["at_ms"].to_numpy(), frame["power"].to_numpy())

    def _read(self, device: str, quantities: tuple[str, ...], span: Span) -> Any:
        return self._pandas.read_parquet(
            self._files.path(device),
            columns=["at_ms", *quantities],
            filters=[("at_ms", ">=", span.start_ms), ("at_ms", "<", span.end_ms)],
        )


class PolarsParquet:
    """The files through polars' lazy frames, on as many threads as it takes by itself."""

    name = "Parquet, polars"

    def __init__(self, files: ParquetFiles) -> None:
        import polars

        self._polars: Any = polars
        self._files = files
        self.last = files.last

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """See :class:`questions.Reader`."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            frame = self._scan(device, span).select("at_ms", *quantities).collect()
            answer.update({f"{device}.{each.name}": each.to_numpy() for each in frame})
        return answer

    def quarters(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        column = self._polars.col
        gathered = [
            expression
            for name in SIX
            for expression in (
                column(name).min().alias(f"{name}.low"),
                column(name).mean().alias(f"{name}.mean"),
                column(name).max().alias(f"{name}.high"),
                column(name).count().alias(f"{name}.count"),
            )
        ]
        quarter = (column("at_ms") // QUARTER_MS).alias("quarter")
        frame = self._scan("battery", span).group_by(quarter).agg(gathered).sort("quarter")
        return {each.name: each.to_numpy() for each in frame.collect()}

    def energy(self, span: Span) -> Answer:
        """See :class:`questions.Reader`."""
        column, when = self._polars.col, self._polars.when
        a, b, step = column("power"), column("power").shift(-1), column("at_ms").diff().shift(-1)
        up, down = a.clip(0) + b.clip(0), -a.clip(None, 0) - b.clip(None, 0)
        crosses = (up > 0) & (down > 0)
        frame = (
            self._scan("battery", span)
            .select(
                (column("at_ms") // DAY_MS).alias("day"),
                step.alias("step"),
                (when(crosses).then(up * up / (up + down)).otherwise(up) * step).alias("up"),
                (when(crosses).then(down * down / (up + down)).otherwise(down) * step).alias(
                    "down"
                ),
            )
            .filter(column("step") <= MAX_GAP_MS)
            .group_by("day")
            .agg(
                (column("up").sum() / 7.2e6).alias("charge_wh"),
                (column("down").sum() / 7.2e6).alias("discharge_wh"),
            )
            .sort("day")
            .collect()
        )
        return {each.name: each.to_numpy() for each in frame}

    def _scan(self, device: str, span: Span) -> Any:
        frame = self._polars.scan_parquet(self._files.path(device))
        return frame.filter(self._polars.col("at_ms").is_between(span.start_ms, span.end_ms - 1))
