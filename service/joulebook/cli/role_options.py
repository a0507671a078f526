"""Where a person may do something: everywhere, in organisations, at sites."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import click

from joulebook.cli.options import Command
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Connection, Database
from joulebook.storage.organisations import Organisation, organisation_named
from joulebook.storage.people import Person
from joulebook.storage.records import Role, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """What the options named; everything where they named nothing."""

    site_ids: Sequence[int]
    organisation_ids: Sequence[int]
    words: str

    @property
    def is_everything(self) -> bool:
        """Tell whether nothing in particular was named."""
        return not self.site_ids and not self.organisation_ids


def role_options(command: Command) -> Command:
    """Add the options that name sites and organisations."""
    for name, parameter, words in (
        ("--organisation", "organisation_names", "In all of it, also what is added later."),
        ("--site", "site_names", "Only here; else all."),
    ):
        command = click.option(name, parameter, multiple=True, metavar="NAME", help=words)(command)
    return command


def reached_by(
    database: Database,
    connection: Connection,
    site_names: Sequence[str],
    organisation_names: Sequence[str],
) -> Reached:
    """Return what the options named.

    Raises
    ------
    UsageError
        If there is no such site or organisation.
    """
    inside = [organisation_named(connection, each) for each in organisation_names]
    words = [*(f"all of {each.name}" for each in inside), *site_names]
    return Reached(
        site_ids=[site_named(database, each).id for each in site_names],
        organisation_ids=[each.id for each in inside],
        words=", ".join(words) or "every site",
    )


def roles_with(now: Mapping[int, Role], ids: Collection[int], role: Role | None) -> dict[int, Role]:
    """Return roles, changed for some ids; ``None`` takes them away."""
    kept = {each: held for each, held in now.items() if each not in ids}
    return kept if role is None else kept | dict.fromkeys(ids, role)


def roles_words(
    person: Person, sites: Sequence[Site], organisations: Sequence[Organisation]
) -> str:
    """Return what a person may do, in words."""
    words = [f"{person.everywhere} of every site"] if person.everywhere else []
    words += [
        f"{person.inside[each.id]} of all of {each.name}"
        for each in organisations
        if each.id in person.inside
    ]
    words += [f"{person.at[site.id]} of {site.name}" for site in sites if site.id in person.at]
    return ", ".join(words) or "nothing"
