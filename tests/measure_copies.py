"""Measure copies behind a broker: ``python -m tests.measure_copies``.

Homes report 20 readings a message with QoS 1 to a mosquitto; two `joulebook ingest` share what it
has and commit to a PostgreSQL server that waits for the disk (fsync and synchronous_commit on). The
clock runs from the first message to the moment at which the copies have committed all. All of it
shares this machine's cores; what each took of them is told. The first message of each home, with
which its devices and series are made, is not timed.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from joulebook.storage.catalogue import add_site
from tests.helpers.copies import FAST_BROKER, Copies, fsyncing_server, running_copies
from tests.helpers.lean_publisher import READINGS
from tests.helpers.seen_processes import children_of
from tests.helpers.service import clean_environment

#: How often it is asked whether all is committed. [s]
LOOK_S = 0.25
_TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")


@dataclass(slots=True)
class Bench:
    """Copies, and homes that report to them."""

    copies: Copies
    homes: int
    sent: int = 0  # messages

    def send(self, steps: int) -> tuple[float, float]:
        """Let all homes report; return how long until all was committed, and the sender's work."""
        first = self.sent // self.homes
        arguments = (self.copies.broker.port, 0, self.homes, first, steps)
        self.sent += self.homes * steps
        sending = subprocess.Popen(
            [sys.executable, "-m", "tests.helpers.lean_publisher", *map(str, arguments)],
            env=clean_environment(),
            stdout=subprocess.PIPE,
            text=True,
        )
        while self.sum_of("joulebook_readings_new_total") < self.sent * READINGS:
            time.sleep(LOOK_S)
        ended_s = time.time()
        began_s, _, worked_s = json.loads(sending.communicate()[0])
        return ended_s - began_s, worked_s

    def sum_of(self, name: str) -> float:
        """Return a number of all copies together."""
        return sum(self.copies.number_of(copy, name) for copy in range(len(self.copies.running)))

    def worked_s(self) -> dict[str, float]:
        """Return the processor time that each has taken. [s]"""
        return {
            "copies": cpu_s(one.process.pid for one in self.copies.running),
            "broker": cpu_s([self.copies.broker.pid]),
            "database": cpu_s([self.copies.server.pid]),
        }


@contextmanager
def bench(copies: int, homes: int) -> Iterator[Bench]:
    """Run everything, with the first message of each home stored, until the block ends."""
    with (
        tempfile.TemporaryDirectory() as name,
        fsyncing_server() as server,
        running_copies(Path(name), server, count=copies, told=FAST_BROKER) as running,
    ):
        for home in range(homes):
            add_site(running.database, f"home-{home}", "Europe/Lisbon")
        made = Bench(running, homes)
        made.send(1)
        yield made


def measure(copies: int, homes: int, steps: int) -> dict[str, float]:
    """Let homes report so often, and return the rates."""
    with bench(copies, homes) as made:
        before, commits = made.worked_s(), made.sum_of("joulebook_commits_total")
        took_s, sender_s = made.send(steps)
        after = made.worked_s()
        commits = made.sum_of("joulebook_commits_total") - commits
    messages = homes * steps
    return {
        "copies": copies,
        "homes": homes,
        "messages": messages,
        "took_s": round(took_s, 2),
        "messages_per_s": round(messages / took_s),
        "readings_per_s": round(messages * READINGS / took_s),
        "commits": commits,
        "sender_cpu_s": round(sender_s, 2),
        **{f"{who}_cpu_s": round(after[who] - before[who], 2) for who in before},
        "load_average": round(os.getloadavg()[0], 2),
    }


def cpu_s(processes: Iterable[int]) -> float:
    """Return the processor time that processes and their children have taken. [s]"""
    family = [one for each in processes for one in (each, *children_of(each))]
    return sum(map(_ticks, family)) / _TICKS_A_SECOND


def _ticks(process: int) -> int:
    """Return a process's own time and that of its children that have ended (proc(5), "stat")."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return sum(map(int, fields[11:15]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--copies", type=int, default=2)
    parser.add_argument("--homes", type=int, default=500)
    parser.add_argument("--steps", type=int, default=80, help="messages of each home")
    given = parser.parse_args()
    told = measure(given.copies, given.homes, given.steps)
    print(json.dumps(told))  # noqa: T201


if __name__ == "__main__":
    main()
