"""Fuzz every door: ``python -m tests.fuzz_doors [--packets 100000] [--seed 1]``.

First what reads input, without sockets: the codec with its session, SenML packs, mapped payloads,
CSV. Then a service started as a person would: mutated packets on connection after connection,
whole packets with mutated payloads, mutated requests to the HTTP door; between them a good bridge
keeps sending. Printed: what each door was sent, took and refused; exceptions and stuck connections,
which have to be none; memory and descriptors before and after; why connections were ended; and
whether each good reading is stored exactly once. It ends with status 1 where anything is not so.
"""

import argparse
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from tests.helpers.fuzz_decoders import fuzz_codec, fuzz_csv, fuzz_mapped, fuzz_packs
from tests.helpers.fuzz_service import (
    Good,
    fuzz_listener,
    fuzz_payloads,
    fuzz_requests,
    metric,
    prepare,
)
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.seen_processes import SeenProcess, seen
from tests.helpers.service import RunningService, start_service
from tests.helpers.tallies import HEAD, Tally


def fuzz(packets: int, seed: int, folder: Path) -> tuple[list[Tally], list[str]]:
    """Fuzz all doors; return their tallies, and what else was not as it has to be."""
    tallies = [
        fuzz_codec(packets, seed),
        fuzz_packs(packets, seed),
        fuzz_mapped(packets // 2, seed),
        fuzz_csv(packets // 200, seed, folder / "csv"),
    ]
    _say(HEAD)
    for tally in tallies:
        _say(tally.row())
    served, faults = fuzz_the_service(packets, seed, folder)
    return [*tallies, *served], faults


def fuzz_the_service(packets: int, seed: int, folder: Path) -> tuple[list[Tally], list[str]]:
    """Fuzz a running service; return the tallies, and what is not as it has to be."""
    data_dir, log = folder / "house", folder / "log"
    good_secret, fuzz_secret = prepare(data_dir)
    service: RunningService = start_service(
        "serve", "--data", str(data_dir), "--port", "0", "--mqtt-port", "0", log=log
    )
    good = Good(service.mqtt_port, good_secret)
    good.send()
    # What is made once, such as threads and caches, is made before memory is looked at.
    fuzz_listener(min(packets, 200), seed + 100, service.mqtt_port, fuzz_secret, good)
    fuzz_payloads(100, seed + 100, service.mqtt_port, fuzz_secret, good)
    fuzz_requests(20, seed + 100, service.port, fuzz_secret)
    before = seen(service.process.pid)
    doors = (
        partial(fuzz_listener, packets, seed, service.mqtt_port, fuzz_secret, good),
        partial(fuzz_payloads, packets // 5, seed, service.mqtt_port, fuzz_secret, good),
        partial(fuzz_requests, packets // 50, seed, service.port, fuzz_secret),
    )
    tallies = []
    for door in doors:
        tallies.append(door())
        _say(f"{tallies[-1].row()}   {seen(service.process.pid).resident_mb:.1f} MB")
    good.send()
    wait_until(lambda: metric(service.port, "joulebook_mqtt_connections") == {"": 0.0})
    after = seen(service.process.pid)
    dropped = metric(service.port, "joulebook_mqtt_dropped_total")
    faults = list(_faults(before, after, dropped, log))
    if service.end() != 0:
        faults.append("the service did not end well")
    stored = good.stored(data_dir)
    _say(f"connections ended by the listener: {dropped}")
    _say(f"good readings: {len(good.sent)} acknowledged, {len(stored)} stored")
    if stored != good.sent:
        faults.append("good readings are not stored exactly once")
    return tallies, faults


def _faults(
    before: SeenProcess, after: SeenProcess, dropped: dict[str, float], log: Path
) -> Iterator[str]:
    _say(
        f"memory {before.resident_mb:.1f} -> {after.resident_mb:.1f} MB, "
        f"descriptors {before.open_files} -> {after.open_files}, "
        f"threads {before.threads} -> {after.threads}"
    )
    if after.open_files > before.open_files + 8:
        yield "descriptors are left open"
    if dropped.get('reason="bug"'):
        yield "a bug ended a connection"
    if "Traceback" in log.read_text(encoding="utf-8"):
        yield f"the log has a traceback: {log}"


def _say(line: str) -> None:
    print(line, flush=True)  # noqa: T201


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packets", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="fuzz-doors-"))
    tallies, faults = fuzz(given.packets, given.seed, folder)
    for tally in tallies:
        for finding in tally.exceptions[:20]:
            _say(f"{tally.door}: {finding}")
    for fault in faults:
        _say(f"NOT SO: {fault}")
    sys.exit(1 if faults or not all(tally.clean for tally in tallies) else 0)


if __name__ == "__main__":
    main()
