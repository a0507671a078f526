import os
import subprocess
import sys
from pathlib import Path

import pytest

from joulebook_bridge.batch import Instant
from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.spool import spool as spool_module
from joulebook_bridge.spool.segments import HELD, find_segments
from tests.helpers.spools import PANELS, batch, files, numbers, room, spool_in, take_all
from tests.helpers.stepped_clock import MINUTE_MS, NOON_MS, SteppedClock


@pytest.fixture
def time() -> SteppedClock:
    return SteppedClock()


def test_readings_wait_until_they_are_acknowledged(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(3):
        spool.append(batch(time.pass_ms(1000), number))
    assert spool.waiting_readings() == 6
    parcels = take_all(spool)
    assert numbers(parcels) == [0, 1, 2]
    assert parcels[0].rows[0][0] == NOON_MS + 1000
    assert all(parcel.live for parcel in parcels)
    for parcel in parcels:
        spool.acknowledge(parcel)
    assert spool.waiting_readings() == 0
    # The file that is being written goes when the service has had all of it for a minute.
    spool.tick(time.now())
    assert files(tmp_path) == ["0000000001.open"]
    spool.tick(time.pass_ms(MINUTE_MS))
    assert files(tmp_path) == []
    spool.close()


def test_what_was_not_acknowledged_is_sent_again(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(4):
        spool.append(batch(time.pass_ms(1000), number))
    first, second = spool.next(live_only=True), spool.next(live_only=True)
    assert first is not None
    assert second is not None
    spool.acknowledge(first)
    spool.give_back([second])
    again = take_all(spool)
    assert numbers(again) == [1, 2, 3]
    assert not any(parcel.live for parcel in again)
    spool.close()


def test_new_readings_are_not_stuck_behind_what_waits(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(5000):
        spool.append(batch(time.pass_ms(1000), number))
    spool.give_back([])
    waiting = spool.next(live_only=False)
    assert waiting is not None
    assert not waiting.live
    spool.append(batch(time.pass_ms(1000), 5000))
    live = spool.next(live_only=False)
    assert live is not None
    assert live.live
    assert numbers([live]) == [5000]
    assert spool.next(live_only=True) is None
    assert sorted(numbers([waiting, *take_all(spool)])) == list(range(5000))
    spool.close()


def test_the_newest_of_what_waits_comes_first(
    tmp_path: Path, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spool_module, "_LARGEST", 500)
    spool = spool_in(tmp_path)
    for number in range(30):
        spool.append(batch(time.pass_ms(1000), number))
    assert len(files(tmp_path)) > 2
    spool.set_clock(time.now(), 0)
    parcels = take_all(spool)
    oldest = [min(numbers([parcel])) for parcel in parcels]
    assert oldest == sorted(oldest, reverse=True)
    assert sorted(numbers(parcels)) == list(range(30))
    spool.close()


def test_more_than_can_be_held_ready_waits_on_disk(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    for number in range(1500):
        spool.append(batch(time.pass_ms(1000), number))
    parcels = take_all(spool)
    assert sorted(numbers(parcels)) == list(range(1500))
    assert sum(parcel.live for parcel in parcels) == 1000
    spool.close()


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
    assert "a reading cannot be written: [Errno 28]" in caplog.text
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


def test_devices_travel_apart(tmp_path: Path, time: SteppedClock) -> None:
    spool = spool_in(tmp_path)
    for number in range(3):
        spool.append(batch(time.now(), number))
        spool.append(batch(time.pass_ms(1000), 10 + number, PANELS))
    spool.set_clock(time.now(), 0)
    parcels = take_all(spool)
    assert sorted((parcel.shape.device, len(parcel.rows)) for parcel in parcels) == [
        ("battery", 3),
        ("pv", 3),
    ]
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
