"""Let the service run for hours at many times a home's rate, and look at it every minute.

``python -m tests.soak [--hours 3] [--rate 20x]``: so many homes, each a bridge of its own with a
site of its own, report twenty quantities every ten seconds to a service started as a person would;
somebody looks at a page now and then. They have reported for `--history-h` hours before it starts,
and their day is near its end: what is computed of a day takes memory by how much of it is over,
and would grow through hours of a day that is new, as it does in each day. Printed: memory,
descriptors, how long an acknowledgement takes, how far results are behind, the log of the database
and its rows; then the slope of each with an interval, and at the end what was sent, what was
acknowledged and what is stored.
"""

import argparse
import math
import os
import sys
import tempfile
import time
import urllib.request
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from joulebook.storage.verify import verify_file
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.seen_processes import children_mb, seen
from tests.helpers.service import RunningService, running_service
from tests.helpers.slopes import Slope, slope
from tests.helpers.steady_homes import DEVICES, SteadyHome, Street, tell_history

#: What is watched: its head, and how much more of it an hour would be too much.
WATCHED = {
    "resident_mb": ("service MB", 2.0),
    "open_files": ("open files", 1.0),
    "threads": ("threads", 1.0),
    "lag_ms": ("lag ms", 50.0),
    "behind_s": ("behind s", 10.0),
    "log_mb": ("log MB", 2.0),
}
#: The hour of the day, local, at which the homes are when it starts.
LATE_H = 22
#: This part of the time, at the start, is not fitted: caches fill.
WARM_UP = 1 / 6


@dataclass(frozen=True, slots=True)
class Look:
    """The service at one moment, and what came of the messages since the look before."""

    at_s: float
    resident_mb: float
    children_mb: float
    open_files: int
    threads: int
    lag_ms: float  # the median of the acknowledgements
    most_lag_ms: float
    behind_s: float  # the oldest day result that is behind its readings
    log_mb: float
    file_mb: float
    hot_rows: int
    page_ms: float


HEADS = (
    "min",
    "service MB",
    "children MB",
    "files",
    "threads",
    "lag ms",
    "most ms",
    "behind s",
    "log MB",
    "file MB",
    "hot rows",
    "page ms",
)


def behind(database: Database, now_ms: int) -> tuple[float, int]:
    """Return how old the oldest result is that waits to be computed anew, and count hot rows."""
    with closing(database.connect()) as connection:
        (oldest_ms,) = connection.execute(
            "SELECT min(computed_ms) FROM day_results JOIN dirty_days USING (site_id, day)"
        ).fetchone()
        (rows,) = connection.execute("SELECT count(*) FROM readings").fetchone()
    return (0.0 if oldest_ms is None else max(now_ms - oldest_ms, 0) / 1000), rows


def page(address: str) -> float:
    """Ask for a page and return how long its answer took; NaN where it has a fault. [ms]"""
    began_s = time.perf_counter()
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:
            answer.read()
    except OSError:
        return math.nan
    return 1000 * (time.perf_counter() - began_s)


def look(
    began_s: float, service: RunningService, street: Street, database: Database, site: str
) -> Look:
    """Look at everything once."""
    page_ms = page(f"{service.pages}/sites/{site}")
    lags_ms = sorted(1000 * lag_s for lag_s in street.lags_s())
    waiting_ms = 1000 * max(home.waiting_s() for home in street.homes)
    behind_s, rows = behind(database, time.time_ns() // 1_000_000)
    process = seen(service.process.pid)
    return Look(
        at_s=time.monotonic() - began_s,
        resident_mb=process.resident_mb,
        children_mb=children_mb(service.process.pid),
        open_files=process.open_files,
        threads=process.threads,
        lag_ms=lags_ms[len(lags_ms) // 2] if lags_ms else waiting_ms,
        most_lag_ms=max(*lags_ms, waiting_ms, 0.0),
        behind_s=behind_s,
        log_mb=Path(f"{database.path}-wal").stat().st_size / 1e6,
        file_mb=database.path.stat().st_size / 1e6,
        hot_rows=rows,
        page_ms=page_ms,
    )


def row(each: Look) -> str:
    """Return a look as a line of the table."""
    numbers = (
        f"{each.at_s / 60:.1f}",
        f"{each.resident_mb:.1f}",
        f"{each.children_mb:.0f}",
        f"{each.open_files}",
        f"{each.threads}",
        f"{each.lag_ms:.0f}",
        f"{each.most_lag_ms:.0f}",
        f"{each.behind_s:.0f}",
        f"{each.log_mb:.1f}",
        f"{each.file_mb:.1f}",
        f"{each.hot_rows}",
        f"{each.page_ms:.0f}",
    )
    return "  ".join(f"{number:>{len(head)}}" for number, head in zip(numbers, HEADS, strict=True))


def verdict(name: str, fitted: Slope, most: float) -> str:
    """Say whether something grows, by its slope with the interval and what would be too much."""
    if fitted.high <= most:
        said = "flat" if fitted.low <= 0 else "within its bound"
    else:
        said = "grows" if fitted.low > most else "cannot be told yet"
    return f"{name:>12}  {fitted}, bound {most:g}: {said}"


def verdicts(looks: list[Look]) -> list[str]:
    """Fit everything that is watched, after the warm-up."""
    late = [each for each in looks if each.at_s >= WARM_UP * looks[-1].at_s]
    at_s = [each.at_s for each in late]
    return [
        verdict(head, slope(at_s, [getattr(each, name) for each in late]), most)
        for name, (head, most) in WATCHED.items()
    ]


def watch(
    service: RunningService, street: Street, database: Database, *, hours: float, every_s: float
) -> list[Look]:
    """Look every so often for some hours; print each look."""
    tell("  ".join(HEADS))
    looks: list[Look] = []
    began_s = time.monotonic()
    while looks == [] or looks[-1].at_s < 3600 * hours:
        time.sleep(max(began_s + every_s * (len(looks) + 1) - time.monotonic(), 0))
        site = street.homes[len(looks) % len(street.homes)].name
        looks.append(look(began_s, service, street, database, site))
        tell(row(looks[-1]))
    return looks


def stored(database: Database) -> tuple[int, list[str]]:
    """Return how many readings are stored, and what is damaged."""
    findings = verify_file(database.path, result_fault=lambda _method, _result: None)
    return findings.checked["readings"] + findings.checked["sealed readings"], findings.damage


def zone_where_it_is_late(now_s: float) -> str:
    """Return the name of a zone whose clocks show an hour from ``LATE_H`` on."""
    ahead_h = (LATE_H - int(now_s // 3600) + 12) % 24 - 12
    # Their names count to the west (the time zone database, file `etcetera`).
    return f"Etc/GMT{-ahead_h:+d}"


def soak(folder: Path, *, hours: float, homes: int, every_s: float, history_h: float) -> bool:
    """Run, print, and return whether in equals out and nothing grows."""
    database = Database.open(folder)
    now_s = time.time()
    sites = [
        add_site(database, f"home-{number}", zone_where_it_is_late(now_s))
        for number in range(1, homes + 1)
    ]
    secrets = {site.name: add_token(database, site, site.name) for site in sites}
    with closing(database.connect()) as connection:
        told_before = sum(
            tell_history(connection, site, hours=history_h, until_ms=round(1000 * now_s))
            for site in sites
        )
    tell(f"stored before: {told_before} readings, the {history_h:g} hours until now of each home")
    with running_service(folder) as service:
        street = Street(
            [SteadyHome(name, service.mqtt_port, secret) for name, secret in secrets.items()]
        )
        street.start()
        try:
            looks = watch(service, street, database, hours=hours, every_s=every_s)
        finally:
            street.stop()
        ended_s = time.monotonic()
        wait_until(lambda: behind(database, 0)[0] == 0 and dirty(database) == 0, 120)
        tell(f"results were whole {time.monotonic() - ended_s:.1f} s after the last reading")
        status = service.end()
    readings, damage = stored(database)
    database.close()
    told = verdicts(looks)
    tell("\n".join(told))
    tell(
        f"{homes} homes, {hours:g} h, {street.sent} messages sent, {street.acknowledged} "
        f"acknowledged; exit status {status}; damaged: {damage or 'nothing'}"
    )
    unanswered = sum(math.isnan(each.page_ms) for each in looks)
    tell(f"pages asked for {len(looks)}, without an answer {unanswered}")
    expected = _expected(street)
    readings -= told_before
    tell(f"readings in {expected}, out {readings}, lost {expected - readings}")
    good = not damage and status == 0 and unanswered == 0 and expected == readings
    return good and not any(line.endswith(": grows") for line in told)


def _expected(street: Street) -> int:
    """Count the readings that were sent: devices take turns, each for all homes."""
    names = list(DEVICES)
    homes = len(street.homes)
    return sum(len(DEVICES[names[turn // homes % len(names)]]) for turn in range(street.sent))


def dirty(database: Database) -> int:
    """Count the days that are behind."""
    with closing(database.connect()) as connection:
        return int(connection.execute("SELECT count(*) FROM dirty_days").fetchone()[0])


def tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def main() -> int:
    """Soak and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--rate", default="20x", help="so many homes at once")
    parser.add_argument("--every-s", type=float, default=60.0, help="how often it looks")
    parser.add_argument("--history-h", type=float, default=26.0, help="hours that are stored")
    options = parser.parse_args()
    tell(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores at the start")
    with tempfile.TemporaryDirectory() as name:
        homes = int(options.rate.rstrip("x"))
        good = soak(
            Path(name),
            hours=options.hours,
            homes=homes,
            every_s=options.every_s,
            history_h=options.history_h,
        )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
