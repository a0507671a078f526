"""Who is there to be measured beside joulebook. The extra ``bench`` brings all of them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from joulebook.bench.duckdb_tables import DuckdbTables
from joulebook.bench.parquet_files import PandasParquet, ParquetFiles, PolarsParquet
from joulebook.bench.questions import Reader, Writer
from joulebook.bench.sqlite_rows import SqliteRows

Rival = TypeVar("Rival")


@dataclass(slots=True)
class Rivals:
    """Those that are installed, and a line for each that is not."""

    rows: SqliteRows
    duckdb: DuckdbTables | None = None
    parquet: ParquetFiles | None = None
    readers: list[Reader] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)

    @property
    def writers(self) -> list[Writer]:
        """Those that keep readings."""
        others: list[Writer] = [each for each in (self.duckdb, self.parquet) if each is not None]
        return [self.rows, *others]

    def close(self) -> None:
        """Close what is open."""
        self.rows.close()
        if self.duckdb is not None:
            self.duckdb.close()


def rivals_in(folder: Path) -> Rivals:
    """Return the rivals, each with new files in a folder."""
    found = Rivals(SqliteRows(folder / "rows"))
    found.duckdb = _made(found, "DuckDB", lambda: DuckdbTables(folder / "duckdb"))
    found.parquet = _made(found, "Parquet", lambda: ParquetFiles(folder / "parquet"))
    readers: list[Reader | None] = [found.rows, found.duckdb]
    if found.parquet is not None:
        files = found.parquet
        readers.append(_made(found, "Parquet, pandas", lambda: PandasParquet(files)))
        readers.append(_made(found, "Parquet, polars", lambda: PolarsParquet(files)))
    found.readers = [reader for reader in readers if reader is not None]
    return found


def _made(found: Rivals, name: str, make: Callable[[], Rival]) -> Rival | None:
    try:
        return make()
    except ImportError as error:
        found.skipped.append(
            f"{name}: not measured, for {error.name} is not installed "
            "(pip install 'joulebook[bench]')"
        )
        return None
