"""``joulebook export``: readings, and what the owner said, out of the house."""

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
from joulebook.errors import UsageError
from joulebook.export.readings import export_readings
from joulebook.export.said_files import export_said
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
    A name in .json gets what the owner said instead: facts, events and their photos,
    corrections, tariffs, deep tests, sign-offs, settings of alerts. It goes back in after the
    readings.

    \b
    Example: joulebook export july.csv --site studio --from 2026-07-01 --to 2026-07-31 --data DIR
    """
    if file.suffix.lower() == ".json":
        _export_said(file, site_name, data_dir, bounded=(first, last) != (None, None))
        return
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


def _export_said(file: Path, site_name: str, data_dir: Path, *, bounded: bool) -> None:
    if bounded:
        raise UsageError(
            "what was said has no days to choose from",
            where="--from, --to",
            expected="neither, with a name in .json",
            next_step="leave them out: all of it is written",
        )
    with existing_database(data_dir) as database:
        said = export_said(database, site_named(database, site_name), file)
    facts = sum(value is not None for value in said.facts.values())
    print(
        f"facts {facts}, events {len(said.events)}, photos {len(said.photos)}, "
        f"corrections {len(said.corrections)}, tariffs {len(said.tariffs)}, "
        f"deep tests {len(said.deep_tests)}, sign-offs {len(said.sign_offs)}, "
        "and how alerts are set"
    )
