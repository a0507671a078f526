"""Sites and the tokens that may write to them."""

import hashlib
import hmac
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from typing import Unpack
from zoneinfo import available_timezones

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from joulebook.errors import UsageError
from joulebook.storage.database import Database
from joulebook.storage.faults import naming_faults
from joulebook.storage.models import SiteRow, TokenRow
from joulebook.storage.records import Grant, Site
from joulebook.storage.site_facts import SiteFacts, check_facts

_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")


def add_site(db: Database, name: str, timezone: str, **facts: Unpack[SiteFacts]) -> Site:
    """Add a site.

    Raises
    ------
    UsageError
        If the name is taken or has no proper form, the zone is unknown, or a fact makes no sense.
    """
    _check_name("a site", name)
    _check_zone(timezone)
    check_facts(**facts)
    row = SiteRow(name=name, timezone=timezone, **facts)
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
        return [_site(row) for row in session.exec(select(SiteRow).order_by(col(SiteRow.name)))]


def site_named(db: Database, name: str) -> Site:
    """Return the site of a name.

    Raises
    ------
    UsageError
        If there is none.
    """
    there = sites(db)
    for site in there:
        if site.name == name:
            return site
    raise UsageError(
        f"there is no site {name!r}",
        where=db.path,
        expected="one of " + ", ".join(site.name for site in there) if there else "a site",
        next_step="make it with `joulebook site add`, or correct the name",
    )


def add_token(db: Database, site: Site, name: str) -> str:
    """Make a token that may write to a site and return its secret, which is kept nowhere.

    Raises
    ------
    UsageError
        If the name has no proper form.
    """
    _check_name("a token", name)
    secret = secrets.token_urlsafe(32)
    with _writing(db) as session:
        session.add(TokenRow(site_id=site.id, name=name, secret_sha256=_hash(secret)))
    return secret


def check_token(db: Database, name: str, secret: str) -> Grant | None:
    """Return what the bearer of a secret may do, or ``None``."""
    given = _hash(secret)
    grant = None
    statement = select(TokenRow, SiteRow).where(
        TokenRow.name == name, TokenRow.site_id == SiteRow.id
    )
    with _reading(db) as session:
        # All of them in constant time each, so that the answer's delay says nothing.
        for token, site in session.exec(statement):
            if hmac.compare_digest(token.secret_sha256, given):
                grant = Grant(token_id=token.id, name=name, site_id=token.site_id, site=site.name)
    return grant


def _hash(secret: str) -> bytes:
    # A fast hash is right here: the secret has 256 random bits, so nobody can guess it from
    # its hash, and a slow one would only let strangers keep the processor busy.
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).digest()


def _site(row: SiteRow) -> Site:
    return Site(
        id=row.id,
        name=row.name,
        timezone=row.timezone,
        battery_ah=row.battery_ah,
        battery_cells=row.battery_cells,
        installed=row.installed,
        warranty_years=row.warranty_years,
        warranty_floor_ratio=row.warranty_floor_ratio,
        warranty_throughput_wh=row.warranty_throughput_wh,
        inverter_w=row.inverter_w,
        inverter_peak_w=row.inverter_peak_w,
    )


def _check_name(what: str, name: str) -> None:
    if _NAME.fullmatch(name) is None:
        raise UsageError(
            f"{name!r} cannot be the name of {what}",
            where="name",
            expected="1 to 63 of a-z, 0-9 and -, with a letter or digit first",
            next_step="choose a name such as 'studio'",
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
