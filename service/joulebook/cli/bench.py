"""``joulebook bench``: what it takes in bytes and time, beside other ways to keep readings."""

import json
import tempfile
from pathlib import Path

import click

from joulebook.bench.report import document
from joulebook.bench.run import full, quick, run
from joulebook.bench.table import lines
from joulebook.cli.options import json_option, progress_bar


@click.command()
@click.option(
    "--days",
    type=click.IntRange(2, 3653),
    default=30,
    show_default=True,
    metavar="N",
    help="How many days of 20 series every 10 s; 365 needs 2 GB on disk.",
)
@json_option
@click.option("--alone", is_flag=True, help="Leave the rivals out: ten years in some minutes.")
@click.option("--quick", "is_quick", is_flag=True, help="Two days and few rounds: does it work?")
@click.option(
    "--in",
    "folder",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="DIR",
    help="The disk to measure on; removed afterwards is only what this puts there.",
)
def bench(days: int, *, as_json: bool, alone: bool, is_quick: bool, folder: Path | None) -> None:
    """Measure bytes and times beside plain SQLite rows, DuckDB and Parquet, on this machine.

    Rivals that are not installed are skipped with a line; the extra 'bench' brings them. Every
    answer is checked before its time is taken. Leave the machine alone meanwhile.

    \b
    Example: joulebook bench
             joulebook bench --days 365 --json
    """
    size = quick(2, alone=alone) if is_quick else full(days, alone=alone)
    with (
        tempfile.TemporaryDirectory(prefix="joulebook-bench-", dir=folder) as scratch,
        progress_bar("measuring") as advance,
    ):
        report = run(size, Path(scratch), advance)
    if as_json:
        print(json.dumps(document(report), indent=2, allow_nan=False))
    else:
        print("\n".join(lines(report)))
