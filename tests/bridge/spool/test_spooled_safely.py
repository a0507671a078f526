"""What survives a kill, a power cut and a damaged file."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from joulebook_bridge.batch import Instant
from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.spool import spool as spool_module
from joulebook_bridge.spool.segments import HELD, find_segments
from tests.helpers.spools import batch, files, numbers, spool_in, take_all
from tests.helpers.stepped_clock import NOON_MS, SteppedClock


@pytest.fixture
def time() -> SteppedClock:
    return SteppedClock()


def test_a_killed_bridge_finds_its_readings_again(tmp_path: Path) -> None:
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from tests.helpers.spools import batch, spool_in\n"
        "from tests.helpers.stepped_clock import SteppedClock\n"
        "time = SteppedClock(); spool = spool_in(Path(sys.argv[1]))\n"
        "spool.set_clock(time.now(), 0)\n"
        "for number in range(50): spool.append(batch(time.pass_ms(1000), number))\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=False)
    assert done.returncode == -9
    spool = spool_in(tmp_path)
    spool.set_clock(SteppedClock().now(), 0)
    assert numbers(take_all(spool)) == list(range(50))
    spool.close()


def test_a_bridge_that_is_stopped_leaves_what_waits(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    spool.append(batch(time.now(), 1))
    spool.close()
    assert files(tmp_path) == ["0000000001.b1.r2.s+0.ready"]
    again = spool_in(tmp_path)
    again.set_clock(time.now(), 0)
    [parcel] = take_all(again)
    again.acknowledge(parcel)
    assert files(tmp_path) == []
    again.close()


def test_one_bridge_for_each_spool(tmp_path: Path) -> None:
    spool = spool_in(tmp_path)
    with pytest.raises(AwayError, match="another bridge uses this spool"):
        spool_in(tmp_path)
    spool.close()
    spool_in(tmp_path).close()


def test_a_folder_that_cannot_be_used(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(WrongError, match="the spool cannot be used"):
        spool_in(tmp_path / "file")


def synced(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    calls: list[int] = []
    monkeypatch.setattr(os, "fsync", calls.append)
    return calls


def test_what_the_service_does_not_have_is_made_safe_within_a_second(
    tmp_path: Path, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = synced(monkeypatch)
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    spool.append(batch(time.now(), 1))
    spool.tick(time.pass_ms(999))
    assert calls == []
    spool.tick(time.pass_ms(1))
    assert len(calls) == 2  # the file, and the folder that names it
    spool.append(batch(time.now(), 2))
    spool.tick(time.pass_ms(1000))
    assert len(calls) == 3  # the folder is known already
    spool.tick(time.pass_ms(5000))
    assert len(calls) == 3  # nothing new
    spool.close()


def test_a_card_is_not_worn_by_what_the_service_has(
    tmp_path: Path, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = synced(monkeypatch)
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(100):
        spool.append(batch(time.now(), number))
        for parcel in take_all(spool):
            spool.acknowledge(parcel)
        spool.tick(time.pass_ms(1000))
    assert calls == []
    spool.close()


def test_a_file_that_is_full_is_made_safe_and_followed_by_another(
    tmp_path: Path, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = synced(monkeypatch)
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(12):
        spool.append(batch(time.now(), number))
    assert len(files(tmp_path)) == 2
    assert len(calls) == 1
    spool.close()


def test_a_file_that_loses_records_on_disk_is_delivered_as_far_as_it_goes(
    tmp_path: Path, time: SteppedClock, caplog: pytest.LogCaptureFixture
) -> None:
    spool = spool_in(tmp_path)
    for number in range(10):
        spool.append(batch(time.now(), number))
    spool.close()
    [name] = files(tmp_path)
    damaged = bytearray((tmp_path / name).read_bytes())
    damaged[-20] ^= 0xFF
    (tmp_path / name).write_bytes(damaged)
    again = spool_in(tmp_path)
    again.set_clock(time.now(), 0)
    parcels = take_all(again)
    assert numbers(parcels) == list(range(9))
    assert "is damaged: 1 of its batches are lost" in caplog.text
    for parcel in parcels:
        again.acknowledge(parcel)
    assert files(tmp_path) == []
    again.close()


def test_a_file_of_which_nothing_is_left_goes(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.append(batch(time.now(), 1))
    spool.set_clock(time.now(), 0)
    [name] = files(tmp_path)
    (tmp_path / name).write_bytes(b"")
    assert take_all(spool) == []
    spool.tick(time.now())
    assert files(tmp_path) == []
    spool.close()


def test_a_file_that_cannot_be_read_is_left_alone(
    tmp_path: Path, time: SteppedClock, caplog: pytest.LogCaptureFixture
) -> None:
    spool = spool_in(tmp_path)
    spool.append(batch(time.now(), 1))
    spool.set_clock(time.now(), 0)
    [name] = files(tmp_path)
    (tmp_path / name).unlink()
    (tmp_path / name).mkdir()
    assert take_all(spool) == []
    assert "cannot be read and is left where it is" in caplog.text
    assert spool.aside_readings() == 2
    spool.close()


def test_a_file_begun_with_a_set_clock_needs_no_second_look(
    tmp_path: Path, time: SteppedClock
) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    spool.append(batch(time.now(), 1))
    os.close(spool._lock_file)  # as if it had been killed
    again = spool_in(tmp_path, boot="second")
    assert [segment.state for segment in find_segments(tmp_path)] != [HELD]
    again.set_clock(Instant(5, 5), 0)  # far off: it does not matter to that file
    assert take_all(again)[0].rows[0][0] == NOON_MS
    again.close()
