"""``joulebook move``: sites from one database to another, compared before anything is deleted."""

import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from joulebook.cli.noted import COMMAND_LINE
from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    opened_database,
    progress_bar,
    settings_of,
)
from joulebook.errors import UsageError
from joulebook.evidence.shelf import EvidenceShelf
from joulebook.settings import Settings
from joulebook.storage.catalogue import site_named, sites
from joulebook.storage.database import Database
from joulebook.storage.moving import Moved, MoveDiffersError, SiteThereError, move_site
from joulebook.storage.moving_source import end_source, give_up
from joulebook.storage.organisations import Organisation, organisation_named, place_site


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """What was asked for."""

    names: tuple[str, ...]
    deleted: bool
    same_people: tuple[str, ...]
    organisation: Organisation | None
    all_of_them: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What became of a site."""

    moved: Moved
    evidence_files: int
    deleted_rows: int | None


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option("--every-site", is_flag=True, help="All sites of --data.")
@data_option
@click.option(
    "--to",
    "to_dir",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR2",
    help="The data directory that the sites go to; made where it is missing.",
)
@click.option(
    "--to-database",
    metavar="URL",
    help="The PostgreSQL server there; else what DIR2/joulebook.toml says, else a file.",
)
@click.option(
    *("--same-person", "same_people"),
    multiple=True,
    metavar="PERSON",
    help="Is the same person at both ends, and keeps the role; may be given several times.",
)
@click.option(
    *("--organisation", "organisation"),
    metavar="NAME",
    help="The organisation of the target that looks after them; else none does.",
)
@click.option("--delete-source", is_flag=True, help="Then delete the site from --data.")
@click.option(
    *("--confirm", "confirmed"),
    multiple=True,
    metavar="NAME",
    help="With --delete-source: each name once more, since nothing brings it back.",
)
@click.option(
    *("--give-up", "giving_up"), is_flag=True, help="Delete what an unfinished move left in DIR2."
)
@json_option
def move(
    names: tuple[str, ...],
    data_dir: Path,
    to_dir: Path,
    to_database: str | None,
    same_people: tuple[str, ...],
    organisation: str | None,
    confirmed: tuple[str, ...],
    *,
    every_site: bool,
    delete_source: bool,
    giving_up: bool,
    as_json: bool,
) -> None:
    """Copy sites to another database, a file or a server, and compare all of it.

    Stop the bridges first: they keep what they read. A site is seen at the target when all was
    found the same there, and not before. The source is only read. What was stopped half-way is
    made whole by the same command.

    \b
    Example: joulebook move studio --data DIR --to DIR2
             joulebook move --every-site --data DIR --to DIR2 --to-database postgresql://…
             joulebook move studio --data DIR --to DIR2 --delete-source --confirm studio
    """
    with _sides(data_dir, to_dir, to_database) as (source, target):
        if every_site:
            names = tuple(site.name for site in sites(source))
        if not names:
            raise click.UsageError("which sites? name them, or give --every-site")
        if giving_up:
            _give_up(target, names)
            return
        if delete_source and set(confirmed) != set(names):
            raise UsageError(
                "nothing was moved: the names of what is then deleted were not confirmed",
                where="--confirm",
                expected=" ".join(f"--confirm {name}" for name in names),
                next_step="leave --delete-source out if you are not sure",
            )
        wanted = _Wanted(
            names=names,
            deleted=delete_source,
            same_people=same_people,
            organisation=_found(target, organisation),
            all_of_them=every_site,
        )
        _move_all(source, target, wanted, as_json=as_json)


def _move_all(source: Database, target: Database, wanted: _Wanted, *, as_json: bool) -> None:
    """Move one site after the other; among all, one that is there already is passed over."""
    done: list[_Told] = []
    refused: list[SiteThereError] = []
    try:
        for name in wanted.names:
            try:
                told = _moved(source, target, name, wanted)
            except SiteThereError as error:
                if not wanted.all_of_them:
                    raise
                refused.append(error)
            else:
                done.append(told)
                if not as_json:
                    _tell(told)
    except MoveDiffersError as error:
        for where in error.differences:
            click.echo(f"differs: {where}", err=True)
        raise
    finally:
        if as_json:
            print(
                json.dumps(
                    {
                        "sites": [_document(told) for told in done],
                        "refused": [error.what for error in refused],
                    }
                )
            )
    if refused:
        for each in refused[1:]:
            click.echo(f"not moved: {each.what}", err=True)
        raise refused[0]


def _moved(source: Database, target: Database, name: str, wanted: _Wanted) -> _Told:
    site = site_named(source, name)
    with progress_bar(f"moving {name}") as advance:
        moved = move_site(
            *(source, target, name),
            now_ms=clock_ms(),
            same_people=wanted.same_people,
            progress=advance,
        )
    if wanted.organisation is not None:
        with closing(target.connect()) as connection:
            place_site(
                *(connection, site_named(target, name), wanted.organisation),
                who=COMMAND_LINE,
                now_ms=clock_ms(),
            )
    shelf, there = (EvidenceShelf(each, max_gap_s=0) for each in (source, target))
    files = shelf.files(site)
    for file in files:
        path = shelf.path_of(site, file.name)
        assert path is not None  # it was just listed
        there.keep(path)
    rows = None
    if wanted.deleted:
        with progress_bar(f"deleting {name} from the source") as advance:
            rows = end_source(
                *(source, target, name, moved.stamp),
                who=COMMAND_LINE,
                now_ms=clock_ms(),
                progress=advance,
            )
        for file in files:
            shelf.delete(site, file.name)
    return _Told(moved=moved, evidence_files=len(files), deleted_rows=rows)


def _found(target: Database, organisation: str | None) -> Organisation | None:
    """Return the organisation of a name, before anything is moved for it."""
    if organisation is None:
        return None
    with closing(target.connect()) as connection:
        return organisation_named(connection, organisation)


def _document(told: _Told) -> dict[str, object]:
    document = asdict(told.moved)
    del document["stamp"]
    document["roles"] = [{"person": name, "role": role} for name, role in told.moved.roles]
    return document | {
        "equal": True,
        "evidence_files": told.evidence_files,
        "deleted_rows": told.deleted_rows,
    }


def _tell(told: _Told) -> None:
    moved = told.moved
    how = "was there already" if moved.already else f"copied, {moved.written} pieces written"
    print(f"{moved.site}: {how}; {moved.compared} pieces compared, all the same")
    rows = ", ".join(f"{table} {count}" for table, count in moved.counts.items() if count)
    print(f"  readings {moved.readings}, {rows}, evidence files {told.evidence_files}")
    for person, role in moved.roles:
        print(f"  {person} was {role} here: give rights there with `joulebook person`")
    if moved.waiting and told.deleted_rows is None:
        print(f"  {moved.waiting} messages wait to be told from here; they are not told from there")
    if told.deleted_rows is not None:
        print(f"  deleted from the source: {told.deleted_rows} rows")


def _give_up(target: Database, names: tuple[str, ...]) -> None:
    for name in names:
        rows = give_up(target, name, now_ms=clock_ms())
        print(f"{name}: {rows} rows of an unfinished move deleted")


@contextmanager
def _sides(
    data_dir: Path, to_dir: Path, to_database: str | None
) -> Iterator[tuple[Database, Database]]:
    """Open both databases; each where its own directory says."""
    with (
        existing_database(data_dir, _settings(data_dir)) as source,
        opened_database(to_dir, _settings(to_dir, database=to_database)) as target,
    ):
        yield source, target


def _settings(directory: Path, **given: object) -> Settings:
    """Read a directory's settings. A database that the environment names would be both sides'."""
    return settings_of(directory, ("database",), **given)
