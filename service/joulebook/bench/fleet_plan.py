"""Machines for many homes, by calculation from what was measured; nothing here is a measurement."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

from joulebook.bench.fleet_constants import DEVICES, EVERY_S, QUANTITIES, Constants
from joulebook.ingest.decode import MOST_TOPICS
from joulebook.reminders.watcher import BACK_EVERY_MS, BACK_SHARE_S
from joulebook.storage.sealing import KEEP_HOT_DAYS

STEPS = (1_000, 10_000, 100_000, 1_000_000)
_DAY_S, _MINUTE_S = 86_400.0, 60.0
_YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """What a machine is taken to have, and how much of it may be in use. Assumptions, all of them.

    Common practice, no source: a server that is ordinary in 2026, half of it left free for
    minutes that are worse than others.
    """

    cores: int = 16
    busy: float = 0.5
    disk_bytes: float = 8e12
    disk_bytes_s: float = 1e9
    broker_messages_s: float = 50_000.0
    night_s: float = 6 * 3600.0
    record_days: float = _YEAR_DAYS
    page_s: float = 0.1
    list_s: float = 1.0
    behind_s: float = 900.0  # so far may today's results be behind


ASSUMED = Machine()


@dataclass(frozen=True, slots=True)
class Limit:
    """Something that there is only so much of.

    Attributes
    ----------
    key : str
        Which one; ``fleet_words.py`` has the words for it.
    share : callable
        Of a number of homes: what they need of it, 1 being all that may be in use.
    of_server : bool
        Whether it is a database server's: one that is exceeded takes another server.
    """

    key: str
    share: Callable[[float], float]
    of_server: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What so many homes need; ``breaks`` since the step before, the first one first."""

    homes: int
    readings_s: float
    messages_s: float
    decode_cores: float
    copies: int
    server_cores: float
    log_bytes_s: float
    disk_bytes_s: float
    hot_bytes: float
    year_bytes: float
    night_cores: float
    ten_year_cores: float
    page_s: float
    order_s: float
    servers: int
    machines: int
    breaks: list[str]


class FleetPlan:
    """Calculates what homes need.

    Parameters
    ----------
    constants : Constants
        As measured.
    machine : Machine
        As assumed.
    """

    def __init__(self, constants: Constants, machine: Machine = ASSUMED) -> None:
        self._of = constants
        self._machine = machine

    def readings_s(self, homes: float) -> float:
        """Return readings a second."""
        return homes * QUANTITIES / EVERY_S

    def messages_s(self, homes: float) -> float:
        """Return messages a second: each device sends one."""
        return homes * DEVICES / EVERY_S

    def decode_cores(self, homes: float) -> float:
        """Return the cores of ingest copies that are always at work."""
        return self.messages_s(homes) * self._of.decode_s * self._of.beyond("ingest", homes)

    def server_cores(self, homes: float) -> float:
        """Return the cores of the database server, at most: waiting for its disk counts as work."""
        storing = self.messages_s(homes) * self._of.store_s * self._of.beyond("ingest", homes)
        sealing = homes * self._of.seal_s / _DAY_S * self._of.beyond("seal", homes)
        return storing + sealing

    def log_bytes_s(self, homes: float) -> float:
        """Return what the server's log takes. [B/s]"""
        return self.readings_s(homes) * self._of.log_bytes

    def disk_bytes_s(self, homes: float) -> float:
        """Return all that is written: log, hot rows, blocks of days, and again as weeks. [B/s]"""
        kept = self._of.hot_bytes + 2 * self._of.sealed_bytes
        return self.log_bytes_s(homes) + self.readings_s(homes) * kept

    def hot_bytes(self, homes: float) -> float:
        """Return what is not sealed yet, today's readings among it. [B]"""
        return self.readings_s(homes) * _DAY_S * (KEEP_HOT_DAYS + 1) * self._of.hot_bytes

    def year_bytes(self, homes: float) -> float:
        """Return what the readings and results of a year take, sealed. [B]"""
        return self.readings_s(homes) * _DAY_S * _YEAR_DAYS * self._of.sealed_bytes

    def night_cores(self, homes: float, record_days: float) -> float:
        """Return the cores at work all night: yesterday of each home, and its whole record."""
        each_s = self._of.compute_s + record_days * self._of.record_s
        return homes * each_s / self._machine.night_s * self._of.beyond("recompute", homes)

    def page_s(self, homes: float) -> float:
        """Return the page of all homes, p95, where it goes on to grow as it did. [s]"""
        more = max(homes / self._of.homes, 1.0)
        return self._of.page_s * float(more ** max(self._of.exponents["homes"], 0.0))

    def limits(self) -> list[Limit]:
        """Return what there is only so much of."""
        of, has = self._of, self._machine

        def writer(homes: float) -> float:
            a_message_s = (of.decode_s + of.store_s) * of.beyond("ingest", homes)
            return self.messages_s(homes) * a_message_s / has.busy

        def commits(homes: float) -> float:
            # Each holds messages of homes of every group, so it waits for the others' locks.
            stored = self.messages_s(homes) * of.store_s * of.beyond("ingest", homes)
            return stored / has.busy

        def kept(homes: float) -> float:
            return (self.hot_bytes(homes) + self.year_bytes(homes)) / has.disk_bytes / has.busy

        def vacuum(homes: float) -> float:
            worked = self.messages_s(homes) * of.vacuum_s * of.beyond("vacuum", homes)
            return worked / has.busy

        def sealer(homes: float) -> float:
            return homes * of.seal_s * of.beyond("seal", homes) / _DAY_S / has.busy

        def listed(homes: float) -> float:
            return of.list_s * homes / of.homes * of.beyond("list", homes) / has.list_s

        def today(homes: float) -> float:
            # Of a day that is half over, on the average; every home's, one after the other.
            return homes * of.compute_s / 2 / has.behind_s / has.busy

        def watched(homes: float) -> float:
            looked_s = of.watch_s * homes / of.homes * of.beyond("watch", homes)
            return looked_s / _MINUTE_S / has.busy

        def looked_back(homes: float) -> float:
            return homes * of.back_s / (BACK_SHARE_S * BACK_EVERY_MS / 1000 / _MINUTE_S)

        cores, written = has.cores * has.busy, has.disk_bytes_s * has.busy
        return [
            Limit("writer", writer),
            Limit("commits", commits, of_server=True),
            Limit("sealer", sealer),
            Limit("night", lambda homes: self.night_cores(homes, has.record_days) / cores),
            Limit("copies", lambda homes: self.decode_cores(homes) / cores),
            Limit("server", lambda homes: self.server_cores(homes) / cores, of_server=True),
            Limit("disk", lambda homes: self.disk_bytes_s(homes) / written, of_server=True),
            Limit("room", kept, of_server=True),
            Limit("vacuum", vacuum, of_server=True),
            Limit("list", listed),
            Limit("today", today),
            Limit("watch", watched),
            Limit("back", looked_back),
            Limit("topics", lambda homes: homes * DEVICES / MOST_TOPICS),
            Limit("page", lambda homes: self.page_s(homes) / has.page_s),
            Limit(
                "broker",
                lambda homes: self.messages_s(homes) / has.broker_messages_s / has.busy,
            ),
        ]

    def breaks(self) -> list[tuple[str, int]]:
        """Return each limit with the homes at which it is reached, the first one first."""
        found = [(limit.key, homes_at(limit.share)) for limit in self.limits()]
        return sorted(found, key=lambda each: each[1])

    def step(self, homes: int) -> Step:
        """Return what so many homes need."""
        has = self._machine
        before = max((each for each in STEPS if each < homes), default=0)
        writers = next(limit for limit in self.limits() if limit.key == "writer").share(homes)
        servers = max(ceil(each.share(homes)) for each in self.limits() if each.of_server)
        night = self.night_cores(homes, has.record_days)
        others = (self.decode_cores(homes) + night) / (has.cores * has.busy)
        return Step(
            homes=homes,
            readings_s=self.readings_s(homes),
            messages_s=self.messages_s(homes),
            decode_cores=self.decode_cores(homes),
            copies=max(ceil(writers), 2),  # so that one may be away
            server_cores=self.server_cores(homes),
            log_bytes_s=self.log_bytes_s(homes),
            disk_bytes_s=self.disk_bytes_s(homes),
            hot_bytes=self.hot_bytes(homes),
            year_bytes=self.year_bytes(homes),
            night_cores=night,
            ten_year_cores=self.night_cores(homes, 10 * _YEAR_DAYS),
            page_s=self.page_s(homes),
            order_s=self._of.order_s * homes / self._of.homes * self._of.beyond("order", homes),
            servers=servers,
            machines=servers + ceil(others),
            breaks=[key for key, at in self.breaks() if before < at <= homes],
        )


def homes_at(share: Callable[[float], float]) -> int:
    """Return the number of homes at which a share reaches 1, to three digits, by halving."""
    low, high = 0.0, 40.0  # powers of two
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if share(2.0**middle) < 1 else (low, middle)
    return int(float(f"{2.0**high:.2e}"))
