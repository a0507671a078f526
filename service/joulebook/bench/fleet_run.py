"""A whole run over fleets: every number of homes once a round, in an order drawn anew."""

import os
import random
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from joulebook.bench.conditions import conditions
from joulebook.bench.fleet_costs import Costs, measured
from joulebook.bench.fleet_ground import Ground
from joulebook.bench.fleet_home import FullHome, full_home
from joulebook.bench.fleet_report import FleetReport
from joulebook.bench.fleet_sites import Hours, Street
from joulebook.bench.fleet_visits import Pages
from joulebook.bench.quiet import Watch
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.proving_ground import told_of_store


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetSize:
    """How many homes, how often, and how long each reports."""

    homes: tuple[int, ...]
    rounds: int
    hours: Hours
    visits: int
    home_days: int
    is_quick: bool


FULL = FleetSize(
    homes=(10, 100, 1000),
    rounds=3,
    hours=Hours(instants=24, step_s=150),
    visits=40,
    home_days=28,
    is_quick=False,
)
QUICK = FleetSize(
    homes=(2, 4, 8),
    rounds=2,
    hours=Hours(instants=12, step_s=150, variants=2),
    visits=2,
    home_days=1,
    is_quick=True,
)


def run_fleet(
    size: FleetSize,
    folder: Path,
    place: ServerPlace | None,
    pages: Pages,
    progress: Callable[[int, int], None],
) -> FleetReport:
    """Measure fleets on a server, or in files.

    Parameters
    ----------
    folder : Path
        An empty folder.
    place : ServerPlace or None
        An empty database of a server, which is empty again afterwards.
    pages : callable
        Makes the application, of a database and the time.
    progress : callable
        Told how many steps are done, of how many.

    Raises
    ------
    UsageError
        If the database is not empty.
    WrongAnswerError
        If a reading is lost, a home not computed, or a page refused.
    """
    watch = Watch()
    ground = Ground(folder, place)
    street = Street(size.hours)
    steps = size.rounds * len(size.homes) + 1
    rounds: list[Costs] = []
    with ground.fresh() as database:
        known = _conditions(size, database)
        home: FullHome = full_home(database, size.home_days)
    progress(1, steps)
    for number in range(size.rounds):
        # The same order in every run: chance, but no surprise.
        for homes in random.Random(number).sample(size.homes, len(size.homes)):
            with ground.fresh() as database:
                rounds.append(measured(database, street, homes, pages=pages, visits=size.visits))
            progress(len(rounds) + 1, steps)
    seen = watch.end()
    if place is not None:  # the server's own work cannot be told from that of others
        seen = replace(seen, others_ratio=None, stolen_ratio=None)
    return FleetReport(conditions=known, quietness=seen, rounds=rounds, home=home)


def _conditions(size: FleetSize, database: Database) -> dict[str, Any]:
    """Return what belongs beside every figure."""
    with closing(database.connect()) as connection:
        store = told_of_store(connection)
    rivals = {"days", "readings", "step_s", "duckdb", "pyarrow", "pandas", "polars"}
    known = {name: value for name, value in conditions(0, 0).items() if name not in rivals}
    if database.server is not None:
        known |= {"psycopg": version("psycopg")}
        del known["sqlite"]
    return {
        **known,
        **store,
        "address": str(database.where) if database.server is not None else "a scratch folder",
        "nice": os.nice(0),
        "homes": list(size.homes),
        "rounds": size.rounds,
        "visits": size.visits,
        "hours": asdict(size.hours),
        "quick": size.is_quick,
    }
