"""Disks that are full, that can only be read, and that take their time."""

import errno
import hashlib
import subprocess
import time
from pathlib import Path

from tests.faults.house import House, house_in
from tests.faults.told import Told, counted
from tests.helpers.bent_worlds import BentWorld
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.small_disks import small_disk
from tests.helpers.told_processes import ToldProcess

#: A message is one row of some 30 bytes, and the log of the database 24 kB and more a commit.
MESSAGES = 400


def full_disk(folder: Path) -> Told:
    """Fill the disk while readings come in, and make room again."""
    with small_disk(folder / "disk", 24 * 1024 * 1024), house_in(folder / "disk" / "data") as house:
        publisher = house.publisher()
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        ballast = folder / "disk" / "ballast"
        _fill(ballast)
        publisher.publish(10 * MESSAGES)
        wait_until(lambda: house.ready()[0] == 503, 60)
        problem = house.ready()[1]
        assert "disk is full" in problem
        waiting = publisher.published - publisher.acknowledged
        ballast.unlink()
        publisher.wait_for_all()
        wait_until(lambda: house.ready()[0] == 200, 60)
        assert house.end() == 0
        return counted(
            "disk full (a disk of 24 MB)",
            range(publisher.published),
            house.numbers(),
            struck=int(waiting > 0),
            acknowledged=publisher.acknowledged,
            note=f"{waiting} waited with their bridge; /readyz: {problem}",
        )


def _fill(ballast: Path) -> None:
    """Leave no byte of the disk."""
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError as error:
            assert error.errno == errno.ENOSPC  # noqa: PT017 -- it is what ends the loop


def becomes_read_only(folder: Path) -> Told:
    """Let every write fail while readings come in, as on a disk that the system made read-only."""
    world = BentWorld(folder)
    with house_in(folder / "data", environment=world.environment) as house:
        publisher = house.publisher()
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        world.refuse_writes(errno.EROFS)
        publisher.publish(MESSAGES)
        wait_until(lambda: house.ready()[0] == 503, 60)
        problem = house.ready()[1]
        waiting = publisher.published - publisher.acknowledged
        world.refuse_writes(0)
        publisher.wait_for_all()
        assert house.end() == 0
        return counted(
            "disk becomes read-only under a running service",
            range(publisher.published),
            house.numbers(),
            struck=int(waiting == MESSAGES),
            acknowledged=publisher.acknowledged,
            note=f"{waiting} waited with their bridge; /readyz: {problem}",
        )


def starts_read_only(folder: Path) -> Told:
    """Start the service on a disk that may only be read: it says so and touches nothing."""
    with small_disk(folder / "disk", 24 * 1024 * 1024), house_in(folder / "disk" / "data") as house:
        publisher = house.publisher()
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        assert house.end() == 0
        before = _content(house.data)
        _remount(folder / "disk", "ro")
        refused = ToldProcess("none", "serve", f"--data={house.data}", "--port=0", "--mqtt-port=0")
        status = refused.wait()
        _remount(folder / "disk", "rw")
        touched = before != _content(house.data)
        house.start()
        assert house.end() == 0
        return counted(
            "started on a read-only disk",
            range(publisher.published),
            house.numbers(),
            struck=int(status == 3),
            acknowledged=publisher.acknowledged,
            note=f"exit status {status}; files {'changed' if touched else 'unchanged'}",
        )


def _content(data: Path) -> dict[str, str]:
    return {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in sorted(data.iterdir())
    }


def _remount(disk: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(disk)], check=True)


def slow_disk(folder: Path, longer_ms: int = 1500) -> Told:
    """Let each sync take long: readings wait together, and pages are still answered."""
    world = BentWorld(folder)
    with house_in(folder / "data", environment=world.environment) as house:
        publisher = house.publisher()
        publisher.publish(1)
        publisher.wait_for_all()
        world.slow_syncs(longer_ms)
        publisher.publish(MESSAGES)
        answered_ms = _page_ms(house)
        publisher.wait_for_all()
        world.slow_syncs(0)
        assert house.end() == 0
        return counted(
            f"each sync to disk takes {longer_ms / 1000:g} s longer",
            range(publisher.published),
            house.numbers(),
            acknowledged=publisher.acknowledged,
            note=f"/readyz answered meanwhile within {answered_ms:.0f} ms",
        )


def _page_ms(house: House) -> float:
    began_s = time.perf_counter()
    assert house.ready()[0] == 200
    return 1000 * (time.perf_counter() - began_s)
