"""``joulebook site delete``: everything of a site, for good."""

from contextlib import closing
from pathlib import Path

import click

from joulebook.cli.options import clock_ms, data_option, existing_database, progress_bar
from joulebook.cli.sites import site
from joulebook.errors import UsageError
from joulebook.evidence.shelf import EvidenceShelf
from joulebook.storage.catalogue import site_named
from joulebook.storage.deletion import delete_site


@site.command("delete")
@click.argument("name")
@click.option("--confirm", metavar="NAME", help="The name once more, since nothing brings it back.")
@data_option
def delete(name: str, confirm: str | None, data_dir: Path) -> None:
    """Delete the site NAME for good: readings, results, notes, tokens, evidence files.

    The database file is written anew at the end, so that nothing of it can be read there. Backups,
    exports and copies made before an upgrade are files of yours: they stay, and are named.

    \b
    Example: joulebook site delete studio --confirm studio --data DIR
    """
    if confirm != name:
        raise UsageError(
            "nothing was deleted: the name was not confirmed",
            where="--confirm",
            expected=f"--confirm {name}",
            next_step="make a backup or an export first if you are not sure",
        )
    with existing_database(data_dir) as database, progress_bar("deleting") as advance:
        there = site_named(database, name)
        shelf = EvidenceShelf(database, max_gap_s=0)
        for file in shelf.files(there):
            shelf.delete(there, file.name)
        with closing(database.connect()) as connection:
            rows = delete_site(
                connection, there, who="command line", now_ms=clock_ms(), progress=advance
            )
    print(f"deleted site {name}: {rows} rows")
    for copy in sorted(data_dir.glob("joulebook.sqlite3.schema-*")):
        print(f"still holds it: {copy}")
    print("backups and exports that you made still hold it")
