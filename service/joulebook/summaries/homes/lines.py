"""Keeps what is told of every home up to date: one round looks at all, and makes what is behind.

What is stored already is only read: analyses, alerts, checks. A round in which nothing changed
asks five questions and writes nothing, however many homes there are.
"""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from itertools import islice
from typing import TypeVar

import msgspec

from joulebook.core.fleet.peers import METHOD
from joulebook.core.records.record import RECORD_METHOD
from joulebook.core.spans import date_of
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Connection, Database
from joulebook.storage.home_inputs import HomeInput, home_inputs
from joulebook.storage.home_lines import (
    HomeNumbers,
    all_numbers,
    numbers_of,
    save_numbers,
    save_peers,
    save_told,
)
from joulebook.storage.record_results import Stamp, result_stamp
from joulebook.storage.records import Site
from joulebook.summaries.checks_kept import kept_trouble
from joulebook.summaries.homes.numbers import Numbers, home_numbers
from joulebook.summaries.homes.peers import Peers, peers_of
from joulebook.summaries.homes.reasons import SILENCE, gravity_of_all, is_silent, reasons_of
from joulebook.summaries.record_document import UTC_ZONE
from joulebook.summaries.site_records import RECORD_NAME

#: Raise it when a line tells something else than before: all of them are made anew.
_FORM = "line-1"
#: Homes that one transaction writes, so that readings need not wait for it.
_AT_ONCE = 100

_T = TypeVar("_T")
#: Tells whether to go on, between two transactions.
GoOn = Callable[[], bool]


def update_numbers(database: Database, connection: Connection, *, now_ms: int, go_on: GoOn) -> int:
    """Read the analyses that are newer than the lines, and return of how many homes."""
    behind = [
        home
        for home in home_inputs(connection, SILENCE.name)
        if home.numbers_of != _numbers_made_of(home.record)
    ]
    if not behind:
        return 0
    by_id = {site.id: site for site in sites(database)}
    done = 0
    for some in _pieces([home for home in behind if home.site_id in by_id]):
        if not go_on():
            break
        rows = [
            (
                home.site_id,
                msgspec.json.encode(home_numbers(connection, by_id[home.site_id])),
                _numbers_made_of(home.record),
            )
            for home in some
        ]
        save_numbers(connection, rows, now_ms=now_ms)
        done += len(rows)
    return done


def update_numbers_of(connection: Connection, site: Site, *, now_ms: int) -> bool:
    """Read one home's analysis, as :func:`update_numbers` does of all; return whether it is news.

    For those who have many homes' records analysed, one after the other and on many machines.
    """
    packed = msgspec.json.encode(home_numbers(connection, site))
    there = numbers_of(connection, [site.id])
    if site.id in there and there[site.id].numbers == packed:
        return False
    made_of = _numbers_made_of(result_stamp(connection, site.id, RECORD_NAME))
    save_numbers(connection, [(site.id, packed, made_of)], now_ms=now_ms)
    return True


def update_peers(connection: Connection, *, go_on: GoOn) -> int:
    """Compare homes with each other, and return how many stand otherwise than before.

    Those that one organisation looks after, and those that none does: what is typical of others'
    homes is theirs to tell.
    """
    there = all_numbers(connection)
    groups: dict[int | None, dict[int, Numbers]] = {}
    for home in there:
        groups.setdefault(home.organisation_id, {})[home.site_id] = _numbers(home)
    found = {
        site_id: peers for group in groups.values() for site_id, peers in peers_of(group).items()
    }
    changed = [
        (home.site_id, packed)
        for home in there
        if (packed := msgspec.json.encode(found[home.site_id])) != home.peers
    ]
    for some in _pieces(changed):
        if not go_on():
            break
        save_peers(connection, some)
    return len(changed)


def update_told(connection: Connection, *, now_ms: int, go_on: GoOn) -> int:
    """Make the lines that are behind, and return how many."""
    today = date_of(now_ms, UTC_ZONE)
    made = 0
    for some in _pieces(_behind(home_inputs(connection, SILENCE.name), today, now_ms)):
        if not go_on():
            break
        there = numbers_of(connection, [home.site_id for home, _, _ in some])
        rows = [
            _told(
                connection, home, there[home.site_id], silent=silent, today=today, made_of=made_of
            )
            for home, silent, made_of in some
            if home.site_id in there
        ]
        save_told(connection, rows, now_ms)
        made += len(rows)
    return made


def _told(
    connection: Connection,
    home: HomeInput,
    there: HomeNumbers,
    *,
    silent: bool,
    today: date,
    made_of: str,
) -> tuple[int, int, tuple[str, ...], bytes, str]:
    """Return the row of a home's line."""
    reasons = reasons_of(
        home,
        _numbers(there),
        None if there.peers is None else msgspec.json.decode(there.peers, type=Peers),
        [] if home.checks is None else kept_trouble(connection, home.site_id),
        silent=silent,
        today=today,
    )
    codes = tuple(dict.fromkeys(each.code for each in reasons))
    packed = msgspec.json.encode(reasons)
    return home.site_id, gravity_of_all(reasons), codes, packed, made_of


def _behind(
    homes: Sequence[HomeInput], today: date, now_ms: int
) -> Iterator[tuple[HomeInput, bool, str]]:
    """Yield the homes whose lines were made of something else, and what they are to be made of."""
    for home in homes:
        silent = is_silent(home, now_ms)
        parts = (_FORM, today, home.said, home.checks, silent, home.alerts, home.signed)
        made_of = hashlib.sha256(repr(parts).encode()).hexdigest()[:32]
        # What is newest of a silent home is part of its line, and it stays as it is.
        if home.made_of != made_of:
            yield home, silent, made_of


def _numbers_made_of(record: Stamp | None) -> str:
    return f"{_FORM} {METHOD} {RECORD_METHOD} {record}"


def _numbers(home: HomeNumbers) -> Numbers:
    return msgspec.json.decode(home.numbers, type=Numbers)


def _pieces(things: Sequence[_T] | Iterator[_T]) -> Iterator[list[_T]]:
    rest = iter(things)
    while some := list(islice(rest, _AT_ONCE)):
        yield some
