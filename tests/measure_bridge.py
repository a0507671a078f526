"""Measure the bridge: ``python -m tests.measure_bridge [--days 7] [--seconds 120]``.

First a spool is filled as by a bridge without network, one row a second of two devices with ten
quantities each, and delivered to a service started as a person would. Every second another reading
is "taken" meanwhile: how long it takes to be on the service's disk is its latency. Then the bridge
reads the simulated studio for a while, as a process of its own, and is looked at in ``/proc``.
Prints one JSON document.
"""

import argparse
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from joulebook_bridge.batch import Batch, Instant, Shape
from joulebook_bridge.clock import system_clock
from joulebook_bridge.configuration import Service
from joulebook_bridge.sender import Sender
from joulebook_bridge.session import Credentials, Server
from joulebook_bridge.spool.room import Room
from joulebook_bridge.spool.spool import Spool
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.service import RunningService, clean_environment, running_service

QUANTITIES = 10
_TICKS = os.sysconf("SC_CLK_TCK")


def shape(device: str) -> Shape:
    return Shape(device, tuple((f"q{place}", "W") for place in range(QUANTITIES)))


def fill(spool: Spool, days: float, devices: tuple[str, str]) -> dict[str, Any]:
    """Write what a bridge without network would have, up to a minute ago."""
    now = system_clock().now()
    seconds = round(days * 86_400)
    shapes = [shape(device) for device in devices]
    began_s = time.perf_counter()
    for second in range(seconds):
        before_ms = 1000 * (seconds - second) + 60_000
        at = Instant((now.wall_ms - before_ms) // 1000 * 1000, now.mono_ms - before_ms)
        value = second % 977 / 10
        for each in shapes:
            spool.append(Batch(at, each, tuple(value + place for place in range(QUANTITIES))))
    took_s = time.perf_counter() - began_s
    readings = seconds * len(devices) * QUANTITIES
    return {"readings": readings, "written_per_s": round(readings / took_s)}


class Live:
    """One reading a second while the spool is emptied, and how long each took to be stored."""

    def __init__(self, spool: Spool) -> None:
        self._spool = spool
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._sent: dict[int, float] = {}
        self.latencies_s: list[float] = []
        acknowledge = spool.acknowledge

        def noted(parcel: Any) -> None:
            acknowledge(parcel)
            if parcel.shape.device == "ambient":
                for at_ms, _ in parcel.rows:
                    self.latencies_s.append(time.perf_counter() - self._sent[at_ms])

        spool.acknowledge = noted  # type: ignore[method-assign]

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        clock = system_clock()
        ambient = Shape("ambient", (("temperature", "Cel"),))
        while not self._stop.is_set():
            now = clock.now()
            self._sent[now.wall_ms] = time.perf_counter()
            self._spool.append(Batch(now, ambient, (21.0,)))
            self._stop.wait(1.0)


def _room() -> Room:
    return Room(most_bytes=10**11, keep_free_bytes=0, drop_oldest=True)


def replay(folder: Path, service: RunningService, secret: str, days: float) -> dict[str, Any]:
    """Fill a spool and deliver it."""
    spool = Spool(folder, "measured", _room(), sync_s=1)
    told = fill(spool, days, ("battery", "meter"))
    told["spool_mb"] = round(sum(path.stat().st_size for path in folder.iterdir()) / 1e6, 1)
    told["files"] = len(list(folder.iterdir())) - 1
    spool.set_clock(system_clock().now(), 0)
    live = Live(spool)
    where = Service(
        Server("127.0.0.1", service.mqtt_port, tls=False), "studio", Credentials("shed", secret)
    )
    sender = Sender(where, spool)
    stop = threading.Event()
    sending = threading.Thread(target=sender.run, args=(stop,))
    processor_s = time.process_time()
    began_s = time.perf_counter()
    live.start()
    sending.start()
    while spool.waiting_readings() > QUANTITIES:
        time.sleep(0.05)
    took_s = time.perf_counter() - began_s
    live.stop()
    wait_until(lambda: spool.waiting_readings() == 0)
    stop.set()
    sending.join()
    spool.close()
    told["replay_s"] = round(took_s, 2)
    told["replayed_per_s"] = round(told["readings"] / took_s)
    told["bridge_processor_s"] = round(time.process_time() - processor_s, 2)
    told["live_latency_ms"] = {
        "readings": len(live.latencies_s),
        "median": round(statistics.median(live.latencies_s) * 1000),
        "most": round(max(live.latencies_s) * 1000),
    }
    return told


def counted(service: RunningService, name: str) -> int:
    """Return what the service counts under a name."""
    with urllib.request.urlopen(f"{service.pages}/metrics") as answer:
        lines = [line.split() for line in answer.read().decode().splitlines() if line[0] != "#"]
    return int(float({line[0]: line[1] for line in lines}[f"joulebook_{name}_total"]))


def watch(process: "subprocess.Popen[bytes]", seconds: float) -> dict[str, Any]:
    """Return what a process takes while it runs for a while."""
    before = _processor_s(process.pid)
    time.sleep(seconds)
    used_s = _processor_s(process.pid) - before
    status = Path(f"/proc/{process.pid}/status").read_text()
    memory = {
        line.split(":")[0]: int(line.split()[1]) for line in status.splitlines() if "kB" in line
    }
    return {
        "seconds": seconds,
        "core_percent": round(100 * used_s / seconds, 2),
        "resident_mb": round(memory["VmRSS"] / 1000, 1),
        "most_resident_mb": round(memory["VmHWM"] / 1000, 1),
    }


def _processor_s(process: int) -> float:
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def power_cut(folder: Path, seconds: float) -> dict[str, Any]:
    """Return for how long readings would not survive a power cut while the service is away."""
    spool = Spool(folder, "measured", _room(), sync_s=1)
    clock = system_clock()
    spool.set_clock(clock.now(), 0)
    unsafe: list[float] = []  # when each was written
    waited_s: list[float] = []
    fsync = os.fsync

    def noted(handle: int) -> None:
        covered = list(unsafe)
        fsync(handle)
        done_s = time.perf_counter()
        waited_s.extend(done_s - written_s for written_s in covered)
        del unsafe[: len(covered)]

    os.fsync = noted  # type: ignore[assignment]
    try:
        end_s = time.perf_counter() + seconds
        while time.perf_counter() < end_s:
            spool.append(Batch(clock.now(), shape("battery"), tuple(map(float, range(10)))))
            unsafe.append(time.perf_counter())
            spool.tick(clock.now())  # a running bridge does so four times a second
            time.sleep(0.25)
    finally:
        os.fsync = fsync
        spool.close()
    return {
        "syncs_in_s": seconds,
        "unsafe_median_ms": round(statistics.median(waited_s) * 1000),
        "unsafe_most_ms": round(max(waited_s) * 1000),
    }


def bridge_alone(
    folder: Path, service: RunningService, secret: str, days: float, seconds: float
) -> dict[str, Any]:
    """Let a bridge read the simulated studio, and look at it once it has settled."""
    environ = {
        **clean_environment(),
        **bridge_environ(service.mqtt_port, secret),
    }
    command = [sys.executable, "-m", "joulebook_bridge"]
    file = folder / "plant.toml"
    with ExitStack() as stack:
        plant = subprocess.Popen(
            [*command, "simulate", "--port=0", f"--write={file}"], stdout=subprocess.PIPE
        )
        stack.callback(plant.communicate)
        stack.callback(plant.terminate)
        assert plant.stdout is not None
        while not plant.stdout.readline().startswith(b"wrote"):
            assert plant.poll() is None
        file.write_text("[spool]\nclock_wait_s = 0\n" + _without_spool(file.read_text()))
        # It begins with some hours of its own to deliver, so that the most that it takes counts.
        waiting = Spool(folder / "spool", "measured", _room(), sync_s=1)
        told = {"waiting_at_start": fill(waiting, days / 28, ("battery-2", "meter-2"))["readings"]}
        waiting.set_clock(system_clock().now(), 0)
        waiting.close()
        bridge = subprocess.Popen([*command, "run", str(file)], env=environ)
        stack.callback(bridge.wait)
        stack.callback(bridge.terminate)
        goal = counted(service, "readings_new") + told["waiting_at_start"]
        while counted(service, "readings_new") < goal:
            time.sleep(0.5)
        before = counted(service, "readings_new")
        told |= watch(bridge, seconds)
        told["readings_per_s"] = round((counted(service, "readings_new") - before) / seconds, 1)
        return told


def _without_spool(text: str) -> str:
    return re.sub(r"^\[spool\]\n(.+\n)*", "", text, flags=re.MULTILINE)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=7.0, help="how long there was no network")
    parser.add_argument("--seconds", type=float, default=120.0, help="how long to look at it")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "data").mkdir()
        database = Database.open(folder / "data")
        secret = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "shed")
        database.close()
        with running_service(folder / "data") as service:
            told = {"offline": replay(folder / "spool", service, secret, options.days)}
            live = told["offline"]["live_latency_ms"]["readings"]
            told["offline"]["stored"] = counted(service, "readings_new") - live
            told["power_cut"] = power_cut(folder / "cut", options.seconds / 4)
            told["alone"] = bridge_alone(folder, service, secret, options.days, options.seconds)
    sys.stdout.write(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
