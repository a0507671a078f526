"""Sites."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from typing import Unpack
from zoneinfo import available_timezones

from sqlalchemy import ColumnElement, Select
from sqlalchemy import select as sqlalchemy_select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from joulebook.errors import UsageError
from joulebook.storage.database import Database
from joulebook.storage.faults import naming_faults
from joulebook.storage.models import SiteRow
from joulebook.storage.names import COMING, check_name
from joulebook.storage.records import Site
from joulebook.storage.site_facts import FACTS, SiteFacts, check_facts

#: Where more are wanted than this, all are read.
_MOST_ASKED = 500


def add_site(
    db: Database,
    name: str,
    timezone: str,
    *,
    organisation_id: int | None = None,
    **facts: Unpack[SiteFacts],
) -> Site:
    """Add a site, of an organisation or of none.

    Raises
    ------
    UsageError
        If the name is taken or has no proper form, the zone is unknown, or a fact makes no sense.
    """
    check_name("a site", name)
    _check_zone(timezone)
    check_facts(**facts)
    row = SiteRow(name=name, timezone=timezone, organisation_id=organisation_id, **facts)
    try:
        with _writing(db) as session:
            session.add(row)
            session.flush()
            return _site(row)
    except IntegrityError as error:
        raise UsageError(
            f"there is a site {name!r} already",
            where=db.path,
            expected="a name that no other site has",
            next_step="choose another name",
        ) from error


def sites(db: Database) -> list[Site]:
    """Return all sites in the order of their names."""
    with _reading(db) as session:
        query = _columns().where(_is_whole()).order_by(col(SiteRow.name))
        return [Site(**row) for row in session.execute(query).mappings()]


def some_sites(db: Database, site_ids: Collection[int]) -> list[Site]:
    """Return the sites of some numbers, those that are there, in the order of their names."""
    if len(site_ids) > _MOST_ASKED:
        return [site for site in sites(db) if site.id in site_ids]
    with _reading(db) as session:
        query = _columns().where(_is_whole(), col(SiteRow.id).in_(site_ids))
        query = query.order_by(col(SiteRow.name))
        return [Site(**row) for row in session.execute(query).mappings()]


def find_site(db: Database, name: str) -> Site | None:
    """Return the site of a name, ``None`` where there is none: no other site is read."""
    with _reading(db) as session:
        query = select(SiteRow).where(col(SiteRow.name) == name, _is_whole())
        row = session.exec(query).first()
        return None if row is None else _site(row)


def site_names(db: Database, most: int | None = None) -> list[tuple[int, str]]:
    """Return id and name of all sites, or of so many, in the order of their names."""
    query = select(SiteRow.id, SiteRow.name).where(_is_whole())
    query = query.order_by(col(SiteRow.name)).limit(most)
    with _reading(db) as session:
        return [(site_id, name) for site_id, name in session.exec(query)]


def site_named(db: Database, name: str) -> Site:
    """Return the site of a name.

    Raises
    ------
    UsageError
        If there is none.
    """
    site = find_site(db, name)  # all others are read only where it is not there
    if site is not None:
        return site
    there = [each for _, each in site_names(db)]
    raise UsageError(
        f"there is no site {name!r}",
        where=db.path,
        expected="one of " + ", ".join(there) if there else "a site",
        next_step="make it with `joulebook site add`, or correct the name",
    )


def _is_whole() -> ColumnElement[bool]:
    """Leave out sites that are being moved here: nobody sees, fills or computes them yet."""
    return col(SiteRow.name).not_like(f"{COMING}%")


def _columns() -> Select[tuple[object, ...]]:
    # Columns and not rows of the model: thousands of sites are read now and then.
    names = ("id", "name", "timezone", "organisation_id", *FACTS)
    return sqlalchemy_select(*(getattr(SiteRow, name) for name in names))


def _site(row: SiteRow) -> Site:
    facts = {fact: getattr(row, fact) for fact in FACTS}
    return Site(
        id=row.id,
        name=row.name,
        timezone=row.timezone,
        organisation_id=row.organisation_id,
        **facts,
    )


def _check_zone(timezone: str) -> None:
    known = available_timezones()
    if timezone not in known:
        close = get_close_matches(timezone, known, n=1)
        raise UsageError(
            f"unknown time zone {timezone!r}",
            where="timezone",
            expected="an IANA name such as Europe/Lisbon",
            next_step=f"did you mean {close[0]!r}?" if close else "look it up in the IANA list",
        )


@contextmanager
def _writing(db: Database) -> Iterator[Session]:
    with naming_faults(db.path), Session(db.engine) as session, session.begin():
        yield session


@contextmanager
def _reading(db: Database) -> Iterator[Session]:
    reads = db.engine.execution_options(reads=True)
    with naming_faults(db.path), Session(reads) as session:
        yield session
