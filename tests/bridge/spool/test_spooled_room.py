"""What happens when there is no more room."""

import os
from pathlib import Path

import pytest

from joulebook_bridge.spool import spool as spool_module
from tests.helpers.spools import batch, files, numbers, room, spool_in, take_all
from tests.helpers.stepped_clock import SteppedClock


@pytest.fixture
def time() -> SteppedClock:
    return SteppedClock()


def test_the_oldest_make_room_and_are_counted(
    tmp_path: Path,
    time: SteppedClock,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path, limits=room(2000))
    spool.set_clock(time.now(), 0)
    for number in range(60):
        spool.append(batch(time.now(), number))
    in_all = spool.waiting_readings()
    assert in_all == 120
    spool.tick(time.pass_ms(5000))
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 2000
    assert spool.lost > 0
    assert spool.lost + spool.waiting_readings() == in_all
    assert "the OLDEST readings are dropped" in caplog.text
    left = sorted(numbers(take_all(spool)))
    assert left == list(range(left[0], 60))
    spool.close()


def test_stopping_keeps_the_old_and_takes_new_ones_when_there_is_room_again(
    tmp_path: Path,
    time: SteppedClock,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path, limits=room(2000, drop_oldest=False))
    spool.set_clock(time.now(), 0)
    for number in range(60):
        spool.append(batch(time.now(), number))
    spool.tick(time.pass_ms(5000))
    spool.append(batch(time.now(), 99))
    assert spool.lost == 2
    assert "NEW readings are not taken" in caplog.text
    spool.tick(time.pass_ms(10_000))
    assert caplog.text.count("NEW readings") == 1
    spool.tick(time.pass_ms(3_600_000))
    assert caplog.text.count("NEW readings") == 2
    for parcel in take_all(spool):
        spool.acknowledge(parcel)
    spool.tick(time.pass_ms(10_000))
    assert "there is room again" in caplog.text
    spool.append(batch(time.now(), 100))
    assert numbers(take_all(spool)) == [100]
    spool.close()


def test_a_disk_that_is_full_loses_the_oldest_and_not_the_bridge(
    tmp_path: Path,
    time: SteppedClock,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(20):
        spool.append(batch(time.now(), number))
    write = os.write
    fails = [True]

    def full_once(handle: int, data: bytes) -> int:
        if fails:
            fails.pop()
            raise OSError(28, "No space left on device")
        return write(handle, data)

    with monkeypatch.context() as full:
        full.setattr(os, "write", full_once)
        spool.append(batch(time.now(), 20))
    assert "readings cannot be written: [Errno 28]" in caplog.text
    left = sorted(numbers(take_all(spool)))
    assert left[-1] == 20
    assert spool.lost == 2 * (20 - len(left) + 1)
    with monkeypatch.context() as full:
        full.setattr(os, "write", lambda *_: (_ for _ in ()).throw(OSError(28, "full")))
        before = spool.lost
        spool.append(batch(time.now(), 21))
    assert spool.lost > before
    spool.append(batch(time.now(), 22))
    assert numbers(take_all(spool)) == [22]
    spool.close()


def test_room_is_left_to_others_on_that_disk(
    tmp_path: Path, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path, limits=room(keep_free=10**18))
    for number in range(20):
        spool.append(batch(time.now(), number))
    spool.tick(time.now())
    assert len(files(tmp_path)) == 1  # the one that is being written
    assert spool.lost > 0
    spool.close()


def test_a_disk_that_fails_does_not_cost_what_is_on_it(
    tmp_path: Path,
    time: SteppedClock,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(20):
        spool.append(batch(time.now(), number))
    with monkeypatch.context() as failing:
        failing.setattr(os, "write", lambda *_: (_ for _ in ()).throw(OSError(5, "I/O error")))
        for _ in range(3):
            spool.append(batch(time.pass_ms(1000), 99))
    assert spool.lost == 6
    assert sorted(numbers(take_all(spool))) == list(range(20))
    assert caplog.text.count("readings cannot be written: [Errno 5] I/O error") == 1
    spool.close()
