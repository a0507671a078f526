"""Do all faults and print the table: ``python -m tests.faults [--rounds 100] [--seed 1]``.

With ``--write`` the table takes its place in docs/faults.md, with the conditions of this run.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.faults import (
    brokers,
    clocks,
    copies,
    crews,
    crowds,
    disks,
    keeping,
    kills,
    locks,
    network,
    upgrades,
    zones,
)
from tests.faults.told import Told, table
from tests.told_pages import replaced

PAGE = Path(__file__).parents[2] / "docs" / "faults.md"
Fault = Callable[[Path], Told | list[Told]]


def faults(rounds: int, seed: int) -> list[Fault]:
    """Return all faults: so many kills in turn, and a part of that of what else has rounds."""
    some = max(1, rounds // 8)
    return [
        lambda folder: kills.kill_rounds(folder, rounds, seed),
        lambda folder: keeping.killed_keepers(folder, some, seed),
        lambda folder: upgrades.killed_upgrades(folder, some, seed),
        upgrades.downgraded,
        lambda folder: brokers.strikes(folder, some, seed),
        lambda folder: network.taken_over(folder, 50 * some),
        lambda folder: network.cut_in_packets(folder, 2 * some, seed),
        disks.full_disk,
        disks.becomes_read_only,
        disks.starts_read_only,
        lambda folder: disks.slow_disk(folder, 100 * some),
        clocks.ahead_and_back,
        clocks.behind,
        zones.new_zone_data,
        zones.clocks_change,
        zones.leap_second,
        lambda folder: locks.locked(folder, 3.0 * some),
        lambda folder: locks.backed_up(folder, some, seed),
        lambda folder: crowds.crowd(folder, 10 * rounds),
        lambda folder: copies.killed_copies(folder, max(1, 3 * rounds // 10), seed),
        lambda folder: crews.killed_workers(folder, max(1, 3 * rounds // 10), seed),
    ]


def rows(chosen: list[Fault]) -> Iterator[Told]:
    """Do each in a folder of its own; one that this machine does not allow is left out."""
    for fault in chosen:
        with tempfile.TemporaryDirectory() as name:
            try:
                told = fault(Path(name))
            except pytest.skip.Exception as reason:
                sys.stderr.write(f"left out: {reason}\n")
                continue
        for row in told if isinstance(told, list) else [told]:
            sys.stderr.write(f"{row.fault}: in {row.sent}, lost {row.lost}\n")
            yield row


def main() -> int:
    """Do them and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=100, help="of kill -9")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="into docs/faults.md")
    options = parser.parse_args()
    began_s = time.monotonic()
    told = list(rows(faults(options.rounds, options.seed)))
    minutes = (time.monotonic() - began_s) / 60
    text = (
        f"`python -m tests.faults --rounds {options.rounds} --seed {options.seed}`, "
        f"{time.strftime('%Y-%m-%d', time.gmtime())}, {os.cpu_count()} cores shared with others "
        f"(load average {os.getloadavg()[2]:.0f}), {minutes:.0f} min.\n\n{table(told)}"
    )
    sys.stdout.write(text + "\n")
    if options.write:
        PAGE.write_text(replaced(PAGE.read_text(encoding="utf-8"), "faults", text), "utf-8")
    return 0 if all(row.whole for row in told) else 1


if __name__ == "__main__":
    sys.exit(main())
