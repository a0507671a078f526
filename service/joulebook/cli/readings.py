"""``joulebook import``: readings, and what was said, in."""

import json
from dataclasses import asdict
from pathlib import Path

import click

from joulebook.cli.noted import changing, note
from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    progress_bar,
    site_option,
)
from joulebook.ingest.parquet_tables import import_parquet
from joulebook.ingest.said_files import read_said
from joulebook.ingest.tables import import_csv
from joulebook.storage.catalogue import site_named
from joulebook.storage.said_adding import add_said


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@site_option
@data_option
@json_option
def import_file(file: Path, site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """Read the CSV, Parquet or JSON FILE into a site; reading it twice changes nothing.

    What was stopped half-way is made whole by the same command. Parquet needs the extra 'parquet'.
    A name in .json is what the owner said, as 'joulebook export' writes it.

    \b
    First column 'time' (RFC 3339 or Unix seconds), then 'device.quantity [unit]', or [flag] or
    [text] where there are no numbers.
    Example: joulebook import history.csv --site studio --data DIR
    """
    if file.suffix.lower() == ".json":
        _import_said(file, site_name, data_dir, as_json=as_json)
        return
    with existing_database(data_dir) as database, progress_bar("reading") as advance:
        site = site_named(database, site_name)
        left_out: list[str] = []
        if file.suffix.lower() == ".parquet":
            counts, left_out = import_parquet(
                database, site, file, clock_ms=clock_ms, progress=advance
            )
        else:
            counts = import_csv(database, site, file, clock_ms=clock_ms, progress=advance)
    if as_json:
        print(json.dumps(asdict(counts) | {"left_out": left_out}))
        return
    print(
        f"{counts.rows} rows: {counts.new} readings new, {counts.repeated} repeated, "
        f"{counts.replaced} replaced, {counts.quarantined} quarantined"
    )
    for name in left_out:
        print(f"left out, holding no numbers, flags or texts: {name}")


def _import_said(file: Path, site_name: str, data_dir: Path, *, as_json: bool) -> None:
    said = read_said(file)
    with changing(data_dir) as (database, connection):
        counts = add_said(connection, site_named(database, site_name), said)
        new = ", ".join(
            f"{part.replace('_', ' ')} {count}" for part, count in counts.new.items() if count
        )
        if new:
            note(connection, "import what was said", site=site_name, detail=new)
    if as_json:
        print(json.dumps(asdict(counts)))
        return
    print(f"new: {new}" if new else "nothing new")
    for one in counts.differs:
        print(f"otherwise here, and left so: {one}")
