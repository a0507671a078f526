"""``joulebook evidence``: a file that a claims desk can check by itself."""

from pathlib import Path

import click

from joulebook import __version__
from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    settings_of,
    site_option,
)
from joulebook.errors import DataRefusedError
from joulebook.evidence.file import PAPERS, Paper, make_evidence
from joulebook.storage.catalogue import site_named


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@site_option
@click.option(
    "--paper",
    type=click.Choice(PAPERS),
    default="a4",
    show_default=True,
    help="Size of the PDF's pages.",
)
@data_option
def evidence(file: Path, site_name: str, paper: Paper, data_dir: Path) -> None:
    """Write what is known of a site's battery to FILE, a ZIP that anybody can check.

    It holds a PDF for people, every reading and result used as CSV, and check.py, which compares
    all of it and works the headline numbers out anew with Python and numpy alone.

    \b
    Example: joulebook evidence studio-2026.zip --site studio --data DIR
    """
    settings = settings_of(data_dir)
    with existing_database(data_dir) as database:
        made = make_evidence(
            database,
            site_named(database, site_name),
            file,
            clock_ms=clock_ms,
            version=__version__,
            max_gap_s=settings.max_gap_s,
            paper=paper,
        )
    print(f"evidence: {file}, {file.stat().st_size / 1e6:.1f} MB")
    print(f"chain: {made.links} links, head {made.head or 'none: nothing was sealed yet'}")
    print(
        f"readings: {'all of the battery' if made.readings_whole else 'the newest, see README.txt'}"
    )
    print("check it: unzip it into a folder of its own and run 'python check.py' there")
    if made.differing:
        raise DataRefusedError(
            f"the file is there and says so: {made.differing[0]}"
            f"{f' (and {len(made.differing) - 1} more)' if len(made.differing) > 1 else ''}",
            where=file,
            expected="readings as they were sealed",
            next_step='see docs/operating.md, "When a file is damaged"',
        )
