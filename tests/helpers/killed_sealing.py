"""A process that writes and seals for ever, to be killed: run with ``python -m``.

It makes a copy of itself for each line on its standard input, ``ROUND FIRST_BATCH``, tells the
copy's process number, and waits until somebody has killed it. So that a round costs
milliseconds, and not the start of Python. What a batch holds follows from its number alone.
"""

import os
import random
import sys
from contextlib import closing
from pathlib import Path

from joulebook.core.quantities import ValueKind
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database, transaction
from joulebook.storage.records import Column, DeviceRows, Site, Value, Written
from joulebook.storage.sealing import seal
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows

DAY_MS = 86_400_000
#: 2026-03-02T00:00:00Z, a Monday: here an ISO week begins. [ms, UTC epoch]
MONDAY_MS = 1_772_409_600_000
#: Three weeks with an instant every 12 minutes.
INSTANTS = [MONDAY_MS + 720_000 * at for at in range(3 * 7 * 120)]
KINDS: dict[str, ValueKind] = {"power": "number", "state": "text", "fan": "flag"}
COLUMNS = tuple(Column(name, "", kind) for name, kind in KINDS.items())
ROWS = 300


def batch(number: int) -> list[tuple[Value, ...]]:
    """Return what is written by a batch: any instants, most of them again and again."""
    draws = random.Random(number)
    return [
        (
            at_ms,
            draws.choice((None, draws.randrange(30) / 10)),
            draws.choice((None, "idle", "busy")),
            draws.choice((None, True, False)),
        )
        for at_ms in draws.choices(INSTANTS, k=ROWS)
    ]


def tell(*words: object) -> None:  # pragma: no cover -- runs only where it is killed
    """Write a line to whoever started this."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def write(  # pragma: no cover -- runs only where it is killed
    database: Database, site: Site, number: int
) -> Written:
    """Write a batch in one transaction."""
    register = SeriesRegister()
    with closing(database.connect()) as connection, transaction(connection):
        series = register.resolve(connection, site.id, "battery", COLUMNS)
        part = DeviceRows(site.id, series[0].device_id, series, batch(number))
        return write_rows(connection, {site.id: site.zone}, [part])


def write_and_seal_for_ever(  # pragma: no cover -- runs only where it is killed
    database: Database, turn: int, first: int
) -> None:
    """Tell the number and the counts of each batch once it is committed; seal in between."""
    site = site_named(database, "studio")
    draws = random.Random(turn)
    number = first
    while True:
        for _ in range(draws.randrange(3)):
            written = write(database, site, number)
            tell(number, written.new, written.repeated, written.replaced)
            number += 1
        now_ms = MONDAY_MS + draws.randrange(3, 40) * DAY_MS
        with closing(database.connect()) as connection:
            seal(connection, now_ms, rows_at_once=draws.choice((10, 100, 10_000)))


def main() -> None:  # pragma: no cover -- in a process whose copies are killed
    """Make copies, one after the other."""
    database = Database(Path(sys.argv[1]))
    for line in sys.stdin:
        turn, first = map(int, line.split())
        process = os.fork()
        if not process:
            write_and_seal_for_ever(database, turn, first)
        tell("process", process)
        os.waitpid(process, 0)
        tell("ended")


if __name__ == "__main__":  # pragma: no cover -- in a process of its own, which is killed
    main()
