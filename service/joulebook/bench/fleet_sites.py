"""Simulated homes that report for some hours, and what their bridges send.

Each is a copy of one of a few sites of :mod:`joulebook.bench.site`, which differ in clouds, loads
and noise; nothing that is measured looks from one home at another's readings.
"""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass

from joulebook.bench.messages import timed_payloads
from joulebook.bench.plant import STEP_MS
from joulebook.bench.site import START_MS, TIMEZONE, Piece, Plan, pieces
from joulebook.ingest.bulk import DeviceColumns
from joulebook.ingest.message import Message
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database, transaction
from joulebook.storage.records import Site

#: The homes begin to report in the morning, so that no device rests. [ms, UTC epoch]
FIRST_MS = START_MS + 8 * 3_600_000

#: What is sent at one instant: a device, its SenML pack, and how many readings that holds.
_Sent = tuple[str, bytes, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """What each home reports.

    Attributes
    ----------
    instants : int
        How many times, from :data:`FIRST_MS` on.
    step_s : int
        How far apart; a multiple of the ten seconds that the sites are made with. [s]
    variants : int
        How many different homes there are; the others are copies.
    """

    instants: int
    step_s: int
    variants: int = 8

    @property
    def end_ms(self) -> int:
        """When the last of them has been sent. [ms, UTC epoch]"""
        return FIRST_MS + self.instants * self.step_s * 1000


class Street:
    """What homes send, instant by instant, the same for each run.

    Making the messages takes longer than storing them, so they are made once.
    """

    def __init__(self, hours: Hours) -> None:
        self.hours = hours
        self._variants = [_sent(hours, seed) for seed in range(1, hours.variants + 1)]

    def readings(self, homes: int) -> int:
        """Return how many readings so many homes send."""
        each = [sum(count for sent in of for *_, count in sent) for of in self._variants]
        rounds, rest = divmod(homes, len(each))
        return rounds * sum(each) + sum(each[:rest])

    def messages(self, sites: Sequence[Site]) -> Iterator[list[Message]]:
        """Yield the messages of all homes, those of an instant together."""
        for instant in range(self.hours.instants):
            now_ms = FIRST_MS + instant * self.hours.step_s * 1000 + STEP_MS
            yield [
                Message(f"joulebook/v1/{site.name}/{device}", pack, now_ms, "b", site.name, site.id)
                for number, site in enumerate(sites)
                for device, pack, _ in self._variants[number % len(self._variants)][instant]
            ]


def add_homes(database: Database, homes: int) -> list[Site]:
    """Add so many homes to a database, all at once, and return them."""
    named = [(f"home-{number:05d}", TIMEZONE) for number in range(1, homes + 1)]
    with closing(database.connect()) as connection, transaction(connection):
        connection.executemany(
            """
            INSERT INTO sites (name, timezone, battery_ah, battery_cells)
            VALUES (?, ?, 280.0, 16)
            """,
            named,
        )
    return sites(database)


def _sent(hours: Hours, seed: int) -> list[list[_Sent]]:
    """Return what a home sends at each instant."""
    [piece] = pieces(Plan(days=1, seed=seed))
    sizes = {columns.device: len(columns.values) for columns in piece}
    instants: list[list[_Sent]] = [[] for _ in range(hours.instants)]
    for at_ms, device, pack in timed_payloads(_thinned(piece, hours)):
        instants[(at_ms - FIRST_MS) // (hours.step_s * 1000)].append((device, pack, sizes[device]))
    return instants


def _thinned(piece: Piece, hours: Hours) -> Piece:
    """Return of a day what is reported: some hours of it, and not every row."""
    found = []
    for columns in piece:
        since_ms = columns.at_ms - FIRST_MS
        wanted = (since_ms >= 0) & (columns.at_ms < hours.end_ms)
        wanted &= since_ms % (hours.step_s * 1000) < STEP_MS
        values = {name: array[wanted] for name, array in columns.values.items()}
        found.append(DeviceColumns(columns.device, columns.at_ms[wanted], values))
    return found
