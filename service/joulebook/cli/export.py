"""``joulebook export``: readings out of the house."""

from datetime import datetime
from pathlib import Path

import click

from joulebook.cli.options import (
    data_option,
    day_of,
    existing_database,
    progress_bar,
    site_option,
    span_options,
)
from joulebook.export.readings import export_readings
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import DatabaseDamagedError


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@site_option
@span_options
@data_option
def export(
    file: Path, site_name: str, first: datetime | None, last: datetime | None, data_dir: Path
) -> None:
    """Write a site's readings to FILE: CSV, or Parquet where the name ends in .parquet.

    Numbers, flags and texts; 'joulebook import' reads either file back as it was, bit for bit.

    \b
    Example: joulebook export july.csv --site studio --from 2026-07-01 --to 2026-07-31 --data DIR
    """
    with existing_database(data_dir) as database, progress_bar("writing") as advance:
        exported = export_readings(
            database,
            site_named(database, site_name),
            file,
            first=day_of(first),
            last=day_of(last),
            progress=advance,
        )
    print(f"{exported.rows} rows: {exported.readings} readings of {exported.series} series")
    for block in exported.damaged:
        print(f"left out: {block}")
    if exported.damaged:
        raise DatabaseDamagedError(
            f"the file is there, without the readings of {len(exported.damaged)} damaged blocks",
            where=file,
            expected="blocks as joulebook wrote them",
            next_step='see docs/operating.md, "When a file is damaged"',
        )
