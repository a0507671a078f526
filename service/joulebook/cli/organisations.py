"""``joulebook organisation``: who looks after which homes, apart from all others."""

from contextlib import closing
from pathlib import Path

import click

from joulebook.cli.noted import changing, note
from joulebook.cli.options import clock_ms, data_option, existing_database
from joulebook.storage.organisations import (
    add_organisation,
    delete_organisation,
    organisation_named,
    organisations,
)
from joulebook.storage.people import people


@click.group()
def organisation() -> None:
    """Keep the homes of several who look after homes apart. One house needs none."""


@organisation.command("add")
@click.argument("name")
@data_option
def add(name: str, data_dir: Path) -> None:
    """Add the organisation NAME. Sites and people are put into it afterwards.

    \b
    Example: joulebook organisation add "Kiln and Sun" --data DIR
             joulebook site set studio --organisation "Kiln and Sun" --data DIR
             joulebook person add Ana --role owner --organisation "Kiln and Sun" --data DIR
    """
    with changing(data_dir) as (_, connection):
        made = add_organisation(connection, name, now_ms=clock_ms())
        note(connection, "add organisation", detail=made.name)
    print(f"added organisation {made.name}")


@organisation.command("list")
@data_option
def list_all(data_dir: Path) -> None:
    """List the organisations: how many sites belong to each, and who may do what in it.

    \b
    Example: joulebook organisation list --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        everybody = people(connection)
        lines = [
            "  ".join(
                [
                    one.name,
                    f"{one.sites} site{'' if one.sites == 1 else 's'}",
                    *(
                        f"{each.inside[one.id]} {each.name}"
                        for each in everybody
                        if one.id in each.inside
                    ),
                ]
            )
            for one in organisations(connection)
        ]
    print("\n".join(lines) or "no organisation")


@organisation.command("delete")
@click.argument("name")
@data_option
def delete(name: str, data_dir: Path) -> None:
    """Delete the organisation NAME. Its sites stay, and belong to none.

    Its people see them no longer, unless it was said for single sites. Its tokens are deleted.

    \b
    Example: joulebook organisation delete "Kiln and Sun" --data DIR
    """
    with changing(data_dir) as (_, connection):
        gone = organisation_named(connection, name)
        note(connection, "delete organisation", detail=gone.name)
        delete_organisation(connection, gone)
    print(f"deleted organisation {gone.name}; sites that belong to none now: {gone.sites}")
