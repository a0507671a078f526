from pathlib import Path

import pytest

from joulebook_bridge.spool import spool as spool_module
from tests.helpers.spools import PANELS, batch, files, numbers, spool_in, take_all
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
