"""How long the service takes for the page of all homes, with few homes and with many."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from joulebook.bench.conditions import processor
from joulebook.bench.homes_made_up import fill_homes
from joulebook.bench.pages import Asker
from joulebook.bench.pages_run import wait_for_quiet
from joulebook.bench.quiet import Quietness, Watch
from joulebook.bench.rounds import by_turns
from joulebook.bench.serving import Served, served_pages
from joulebook.errors import UnavailableError
from joulebook.storage.database import Database
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told

#: What is asked for, by what it is called.
ASKED = {
    "first page": "/homes",
    "search": "/homes?q=07",
    "filter": "/homes?show=silent",
    "a page further on": "/homes?page=3",
    "for programs": "/api/v1/homes",
    "one home": "/sites/home-00007/setup",
    "table of all": "/homes.csv",
}
#: The first page of ten thousand homes is to be answered so quickly, 95 times of 100. [ms]
BAR_MS = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HomesTimes:
    """What one answer took, with few homes and with many; and what the service worked. [ms]"""

    name: str
    few_p50_ms: float
    few_p95_ms: float
    many_p50_ms: float
    many_p95_ms: float
    many_worked_ms: float

    @property
    def ratio(self) -> float:
        """How many times as long it takes with many, in the middle of what was measured."""
        return self.many_p50_ms / self.few_p50_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class HomesPages:
    """What was measured, and what else the machine did meanwhile."""

    few: int
    many: int
    requests: int
    times: tuple[HomesTimes, ...]
    quiet: Quietness


def measure_homes_pages(
    folder: Path,
    *,
    few: int = 100,
    many: int = 10_000,
    requests: int = 60,
    clock_ms: Callable[[], int],
) -> HomesPages:
    """Fill two databases with homes, serve both, and ask by turns.

    Parameters
    ----------
    folder : Path
        Where the two data directories are made, or used again.
    requests : int
        How often each is asked for, after a first time that does not count.
    """
    for homes in (few, many):
        _filled(folder / f"homes-{homes}", homes, clock_ms())
    with (
        served_pages(folder / f"homes-{few}") as small,
        served_pages(folder / f"homes-{many}") as large,
    ):
        if small is None or large is None:
            raise UnavailableError(
                "the service did not start",
                where=folder,
                expected="a service that prints where its pages are",
                next_step="see what it wrote above",
            )
        for served in (small, large):
            wait_for_quiet(served)
        watch, before_ms = Watch(), small.processor_ms() + large.processor_ms()
        took_s, worked_ms = _asked(small, large, requests)
        spent_ms = small.processor_ms() + large.processor_ms() - before_ms
        quiet = watch.end(beside_s=spent_ms / 1000)
    times = tuple(_times(name, took_s, worked_ms) for name in ASKED)
    return HomesPages(few=few, many=many, requests=requests, times=times, quiet=quiet)


def _filled(data_dir: Path, homes: int, now_ms: int) -> None:
    if data_dir.exists():
        return
    with closing(Database.open(data_dir)) as database:
        fill_homes(database, homes, now_ms=now_ms)
        with closing(database.connect()) as connection:
            update_numbers(database, connection, now_ms=now_ms, go_on=_always)
            update_peers(connection, go_on=_always)
            update_told(connection, now_ms=now_ms, go_on=_always)


def _always() -> bool:
    return True


def _asked(
    small: Served, large: Served, requests: int
) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Return how long each answer took [s] and what the service worked [ms], by what was asked."""
    worked_ms: dict[str, list[float]] = {}

    def asking(name: str, served: Served, path: str) -> Callable[[int], None]:
        worked_ms[name] = []

        def call(_number: int) -> None:
            before = served.processor_ms()
            # One line for each: it would be closed while the table of the others is written.
            with closing(Asker(served)) as asker:
                asker.ask(path)
            worked_ms[name].append(served.processor_ms() - before)

        return call

    calls = {
        f"{name} {size}": asking(f"{name} {size}", served, path)
        for name, path in ASKED.items()
        for size, served in (("few", small), ("many", large))
    }
    for call in calls.values():
        call(0)  # the first time, which does not count
    for kept in worked_ms.values():
        kept.clear()
    return by_turns(calls, requests), worked_ms


def _times(
    name: str, took_s: dict[str, list[float]], worked_ms: dict[str, list[float]]
) -> HomesTimes:
    few, many = (np.percentile(took_s[f"{name} {size}"], (50, 95)) for size in ("few", "many"))
    return HomesTimes(
        name=name,
        few_p50_ms=float(few[0]) * 1000,
        few_p95_ms=float(few[1]) * 1000,
        many_p50_ms=float(many[0]) * 1000,
        many_p95_ms=float(many[1]) * 1000,
        many_worked_ms=float(np.mean(worked_ms[f"{name} many"])),
    )


def homes_pages_lines(found: HomesPages) -> list[str]:
    """Return what was measured as lines for a person."""
    rows = [
        f"{each.name:<20}{each.few_p50_ms:>8.1f}{each.few_p95_ms:>8.1f}"
        f"{each.many_p50_ms:>10.1f}{each.many_p95_ms:>8.1f}{each.ratio:>8.1f}"
        f"{each.many_worked_ms:>8.1f}"
        for each in found.times
    ]
    first = found.times[0].many_p95_ms
    return [
        f"{found.few} and {found.many} homes served at once, {found.requests} requests each, by "
        f"turns, one at a time; {processor()}",
        f"{'[ms]':<20}{'p50':>8}{'p95':>8}{'p50':>10}{'p95':>8}{'ratio':>8}{'worked':>8}",
        *rows,
        f"first page: p95 {first:.0f} ms, bar {BAR_MS:.0f} ms: "
        f"{'held' if first <= BAR_MS else 'MISSED'}",
        found.quiet.words(),
    ]
