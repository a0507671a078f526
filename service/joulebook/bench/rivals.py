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

    rows: SqliteRows | None = None
    duckdb: DuckdbTables | None = None
    parquet: ParquetFiles | None = None
    readers: list[Reader] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)

    @property
    def writers(self) -> list[Writer]:
        """Those that keep readings."""
        writers: list[Writer | None] = [self.rows, self.duckdb, self.parquet]
        return [each for each in writers if each is not None]

    def close(self) -> None:
        """Close what is open."""
        for each in (self.rows, self.duckdb):
            if each is not None:
                each.close()


def no_rivals() -> Rivals:
    """Return nobody, and a line that says so."""
    return Rivals(skipped=["rivals: not measured, left out as asked"])


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
