"""What a number of homes costs, measured once: in, computed, put in order, looked at, sealed."""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field

import numpy as np

from joulebook.bench.fleet_sites import Street, add_homes
from joulebook.bench.fleet_visits import App, Pages, visited_ms
from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import WrongAnswerError
from joulebook.core.curves import MAX_GAP_S
from joulebook.crew.runs import Run
from joulebook.crew.tasks import Task
from joulebook.crew.threads import ThreadCrew
from joulebook.ingest.committer import Committer
from joulebook.ingest.inbox import MOST_A_COMMIT
from joulebook.ingest.message import Message
from joulebook.reminders.deciding import decide
from joulebook.reminders.looking_now import seen_now
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Connection, Database
from joulebook.storage.proving_ground import log_bytes, tidy, used_bytes
from joulebook.storage.records import Site
from joulebook.storage.sealing import KEEP_HOT_DAYS, seal
from joulebook.storage.stores import on_server
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told

#: More than any block holds: with nobody waiting, hot rows are deleted at once.
ALL_ROWS = 1_000_000


@dataclass(slots=True, kw_only=True)
class Costs:
    """What one fleet cost in one round.

    Attributes
    ----------
    readings, messages : int
        Taken in, those of the first instant left out.
    of : dict of float
        By :data:`fleet_report.COSTS`: seconds for all homes together, milliseconds of one page,
        bytes of all homes together.
    own_s : float
        Of ingest: the processor's time of this process; the rest is the store's, with its disk.
    log : int or None
        Bytes that ingest added to a server's log.
    p95_ms : dict of float
        Of the pages. [ms]
    """

    homes: int
    readings: int = 0
    messages: int = 0
    own_s: float = 0.0
    log: int | None = None
    of: dict[str, float] = field(default_factory=dict)
    p95_ms: dict[str, float] = field(default_factory=dict)


def measured(database: Database, street: Street, homes: int, *, pages: Pages, visits: int) -> Costs:
    """Let so many homes live in a new database, and return what that cost.

    Parameters
    ----------
    pages : callable
        Makes the application, of a database and the time.
    visits : int
        How often each page is asked for.

    Raises
    ------
    WrongAnswerError
        If a reading is lost or stored twice, a home not computed, or a page refused.
    """
    costs = Costs(homes=homes)
    there = add_homes(database, homes)
    with closing(database.connect()) as connection:
        empty_bytes = used_bytes(connection)
        _take_in(database, connection, street, there, costs)
        tidy(connection)  # before it is looked at: the server counts its rows
        costs.of["hot"] = used_bytes(connection) - empty_bytes
        costs.of["recompute"] = _timed(lambda: _recompute(database, there))
        now_ms = street.hours.end_ms
        costs.of["order"] = _timed(lambda: _put_in_order(database, connection, now_ms))
        _look(pages(database, now_ms), there, visits, costs)
        costs.of["watch"] = _timed(lambda: _watch(connection, there, now_ms))
        costs.of["list"] = float(np.median([_timed(lambda: sites(database)) for _ in range(5)]))
        later_ms = now_ms + (KEEP_HOT_DAYS + 1) * DAY_MS
        costs.of["seal"] = _timed(lambda: seal(connection, later_ms, rows_at_once=ALL_ROWS))
        if on_server(connection):
            costs.of["vacuum"] = _timed(lambda: tidy(connection))
        costs.of["sealed"] = used_bytes(connection) - empty_bytes
    return costs


def _timed(work: Callable[[], object]) -> float:
    began_s = time.perf_counter()
    work()
    return time.perf_counter() - began_s


def _take_in(
    database: Database, connection: Connection, street: Street, there: Sequence[Site], costs: Costs
) -> None:
    """Commit what the homes send as the inbox does that keeps up: an instant of all at a time."""
    new = 0
    log_before, took_s, own_s = None, 0.0, 0.0
    with closing(Committer(database)) as committer:
        for number, messages in enumerate(street.messages(there)):
            began_s, own_began_s = time.perf_counter(), time.process_time()
            for group in _groups(messages):
                written = committer.commit(group).written
                new += written.new
                costs.readings += written.new if number else 0
            if number:
                took_s += time.perf_counter() - began_s
                own_s += time.process_time() - own_began_s
                costs.messages += len(messages)
            else:  # of homes that were never heard before: devices and series are made
                costs.of["arrive"] = time.perf_counter() - began_s
                log_before = log_bytes(connection)
    _require(new, street.readings(len(there)), "readings stored")
    costs.of["ingest"], costs.own_s = took_s, own_s
    log_after = log_bytes(connection)
    if log_before is not None and log_after is not None:
        costs.log = log_after - log_before


def _groups(messages: Sequence[Message]) -> Iterator[Sequence[Message]]:
    for first in range(0, len(messages), MOST_A_COMMIT):
        yield messages[first : first + MOST_A_COMMIT]


def _recompute(database: Database, there: Sequence[Site]) -> None:
    """Compute every home's days, record and documents, in as many threads as the service has."""
    tasks = [Task(kind="recompute", site=site.name, max_gap_s=MAX_GAP_S) for site in there]
    report = Run(ThreadCrew(database), tasks, total=len(tasks)).go()
    _require(len(report.done), len(there), "homes computed")


def _put_in_order(database: Database, connection: Connection, now_ms: int) -> None:
    """Find out how every home does, compare them, and say who needs someone."""
    update_numbers(database, connection, now_ms=now_ms, go_on=lambda: True)
    update_peers(connection, go_on=lambda: True)
    update_told(connection, now_ms=now_ms, go_on=lambda: True)


def _watch(connection: Connection, there: Sequence[Site], now_ms: int) -> None:
    """Look at every home's newest readings for alerts, as each minute."""
    for site in there:
        seen = seen_now(connection, site, now_ms=now_ms)
        decide(connection, site, seen, now_ms=now_ms, address="")


def _look(app: App, there: Sequence[Site], visits: int, costs: Costs) -> None:
    # Another home each time, from all over the list.
    step = max(len(there) * 13 // 21, 1)
    weeks = [f"/sites/{there[number * step % len(there)].name}" for number in range(visits + 1)]
    for name, paths in {"week": weeks, "homes": ["/homes"] * (visits + 1)}.items():
        took_ms = visited_ms(app, paths)
        costs.of[name] = float(np.median(took_ms))
        costs.p95_ms[name] = float(np.percentile(took_ms, 95))


def _require(found: int, wanted: int, what: str) -> None:
    if found != wanted:
        raise WrongAnswerError(
            f"{found} {what} of {wanted}",
            where="the simulated homes",
            expected="all of them, once",
        )
