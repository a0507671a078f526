"""Clocks that are wrong at the start, and readings that are dated afterwards."""

import logging
from pathlib import Path

import pytest

from joulebook_bridge.spool.gate import ClockGate, latest_of
from joulebook_bridge.spool.spool import Spool
from tests.helpers.spools import batch, files, numbers, spool_in, take_all
from tests.helpers.stepped_clock import MINUTE_MS, NOON_MS, SteppedClock

IN_1970_MS = 20_000
DAY_MS = 86_400_000


def gate_of(spool: Spool, time: SteppedClock, folder: Path, *, wait_s: float = 60) -> ClockGate:
    return ClockGate(spool, time.clock(), folder / "latest", wait_s)


def times(spool: Spool) -> dict[int, int]:
    """Return when each number was measured, as it would be sent."""
    return {int(values[0]): at_ms for parcel in take_all(spool) for at_ms, values in parcel.rows}


def test_a_confirmed_clock_is_right_at_once(tmp_path: Path) -> None:
    time, spool = SteppedClock(), spool_in(tmp_path)
    gate_of(spool, time, tmp_path).tick(time.now())
    assert spool.clock_is_set
    assert spool.steps_ms == []
    spool.close()


def test_readings_of_a_clock_that_starts_in_1970_are_dated_when_it_is_set(tmp_path: Path) -> None:
    time, spool = SteppedClock(IN_1970_MS, 20_000), spool_in(tmp_path)
    time.confirmed = False
    gate = gate_of(spool, time, tmp_path)
    for number in range(5):
        spool.append(batch(time.pass_ms(1000), number))
        gate.tick(time.now())
    assert take_all(spool) == []
    # A time server is found: 1970 was this long ago. The last reading was taken just now.
    time.set_by(NOON_MS - time.wall_ms)
    time.confirmed = True
    gate.tick(time.now())
    spool.append(batch(time.pass_ms(1000), 5))
    assert times(spool) == {number: NOON_MS + 1000 * (number - 4) for number in range(6)}
    assert spool.steps_ms == [NOON_MS - IN_1970_MS - 5000]
    spool.close()


def test_the_correction_survives_a_killed_bridge(tmp_path: Path) -> None:
    time = SteppedClock(IN_1970_MS, 20_000)
    time.confirmed = False
    first = spool_in(tmp_path)
    first.append(batch(time.now(), 1))
    first.close()
    # The same start of the machine, another of the bridge: its clock still counts on.
    time.pass_ms(10_000)
    second = spool_in(tmp_path)
    second.append(batch(time.now(), 2))
    time.set_by(NOON_MS - time.wall_ms)
    time.confirmed = True
    gate_of(second, time, tmp_path).tick(time.now())
    assert times(second) == {1: NOON_MS - 10_000, 2: NOON_MS}
    second.close()
    third = spool_in(tmp_path)  # and what is corrected is corrected once
    third.set_clock(time.now(), 0)
    assert times(third) == {1: NOON_MS - 10_000, 2: NOON_MS}
    third.close()


def test_a_clock_set_twice_before_it_is_confirmed(tmp_path: Path) -> None:
    time, spool = SteppedClock(IN_1970_MS, 20_000), spool_in(tmp_path)
    time.confirmed = False
    spool.append(batch(time.now(), 1))
    time.pass_ms(1000)
    time.set_by(5_000_000)
    spool.append(batch(time.now(), 2))
    time.pass_ms(1000)
    time.set_by(NOON_MS - time.wall_ms)
    time.confirmed = True
    gate_of(spool, time, tmp_path).tick(time.now())
    assert times(spool) == {1: NOON_MS - 2000, 2: NOON_MS - 1000}
    spool.close()


def test_a_step_of_a_confirmed_clock_changes_what_comes_after_it(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    time, spool = SteppedClock(), spool_in(tmp_path)
    gate_of(spool, time, tmp_path).tick(time.now())
    spool.append(batch(time.now(), 1))
    time.pass_ms(1000)
    time.set_by(7000)
    spool.append(batch(time.now(), 2))
    time.pass_ms(1000)
    spool.append(batch(time.now(), 3))
    assert times(spool) == {1: NOON_MS, 2: NOON_MS + 8000, 3: NOON_MS + 9000}
    assert spool.steps_ms == [7000]
    assert "the clock was set by +7.0 s" in caplog.text
    assert len(files(tmp_path)) == 2
    spool.close()


def test_a_clock_that_is_nudged_is_not_set(tmp_path: Path) -> None:
    time, spool = SteppedClock(), spool_in(tmp_path)
    gate_of(spool, time, tmp_path).tick(time.now())
    for number in range(2000):
        time.pass_ms(1000)
        time.set_by(1)  # adjtime(3): at most half a millisecond in a second, on most systems
        spool.append(batch(time.now(), number))
    assert spool.steps_ms == []
    assert len(files(tmp_path)) == 1
    spool.close()


def test_a_clock_that_nobody_confirms_counts_after_a_while(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    time, spool = SteppedClock(mono_ms=59_000), spool_in(tmp_path)
    time.confirmed = False
    gate = gate_of(spool, time, tmp_path)
    gate.tick(time.now())
    assert not spool.clock_is_set
    gate.tick(time.pass_ms(1000))
    assert spool.clock_is_set
    assert "nobody has confirmed" in caplog.text
    spool.close()


def test_a_system_that_cannot_say_is_not_waited_for(tmp_path: Path) -> None:
    time, spool = SteppedClock(mono_ms=5), spool_in(tmp_path)
    time.confirmed = None
    gate_of(spool, time, tmp_path).tick(time.now())
    assert spool.clock_is_set
    spool.close()


def test_a_clock_behind_what_was_known_is_waited_for_however_long(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "latest").write_text(str(NOON_MS + DAY_MS))
    time, spool = SteppedClock(), spool_in(tmp_path)
    time.confirmed = False
    gate = gate_of(spool, time, tmp_path)
    for _ in range(90):
        gate.tick(time.pass_ms(MINUTE_MS))
    assert not spool.clock_is_set
    assert caplog.text.count("this machine's clock is wrong") == 2  # once an hour
    gate.tick(time.pass_ms(DAY_MS))
    assert spool.clock_is_set
    spool.close()


def test_the_latest_right_time_is_remembered(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    time, spool = SteppedClock(), spool_in(tmp_path)
    gate = gate_of(spool, time, tmp_path)
    gate.tick(time.now())
    gate.tick(time.pass_ms(1000))
    assert latest_of(tmp_path / "latest") == NOON_MS + 1000
    gate.tick(time.pass_ms(1000))
    assert latest_of(tmp_path / "latest") == NOON_MS + 1000
    (tmp_path / "latest").unlink()
    (tmp_path / "latest").mkdir()
    gate.tick(time.pass_ms(MINUTE_MS))
    assert "cannot be remembered" in caplog.text
    spool.close()


def test_nothing_is_right_before_this_program_was_written(tmp_path: Path) -> None:
    (tmp_path / "latest").write_text("12")
    assert latest_of(tmp_path / "latest") == 1_767_225_600_000  # 2026-01-01T00:00:00Z
    (tmp_path / "latest").write_text("noon")
    assert latest_of(tmp_path / "latest") == 1_767_225_600_000


def leave(folder: Path, time: SteppedClock, number: int, *, boot: str = "first") -> None:
    """Leave a reading of a clock that was never set."""
    spool = spool_in(folder, boot=boot)
    spool.append(batch(time.now(), number))
    spool.close()


def test_readings_of_an_earlier_start_are_taken_if_their_times_can_be_right(
    tmp_path: Path,
) -> None:
    time = SteppedClock(NOON_MS - DAY_MS)
    leave(tmp_path, time, 1)
    spool = spool_in(tmp_path, boot="second")
    spool.set_clock(SteppedClock().now(), latest_ms=NOON_MS - 2 * DAY_MS)
    assert times(spool) == {1: NOON_MS - DAY_MS}
    spool.close()


@pytest.mark.parametrize("wall_ms", [IN_1970_MS, NOON_MS + 5])
def test_readings_of_an_earlier_start_whose_times_cannot_be_right_are_put_aside(
    tmp_path: Path, wall_ms: int, caplog: pytest.LogCaptureFixture
) -> None:
    leave(tmp_path, SteppedClock(wall_ms), 1)
    spool = spool_in(tmp_path, boot="second")
    spool.set_clock(SteppedClock().now(), latest_ms=NOON_MS - DAY_MS)
    assert take_all(spool) == []
    assert spool.aside_readings() == 2
    assert spool.waiting_readings() == 0
    assert "are of a time that nobody knows" in caplog.text
    assert files(tmp_path) == ["0000000001.b1.r2.aside"]
    spool.close()
    again = spool_in(tmp_path, boot="second")  # and they stay
    again.set_clock(SteppedClock().now(), latest_ms=0)
    again.append(batch(SteppedClock().now(), 7))
    assert numbers(take_all(again)) == [7]
    again.close()


def test_a_file_that_does_not_say_when_it_was_begun_is_put_aside(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    leave(tmp_path, SteppedClock(), 1)
    [name] = files(tmp_path)
    (tmp_path / name).write_bytes((tmp_path / name).read_bytes().replace(b'"boot"', b'"b00t"'))
    spool = spool_in(tmp_path)
    spool.set_clock(SteppedClock().now(), latest_ms=0)
    assert take_all(spool) == []
    assert "does not say when it was begun" in caplog.text
    spool.close()
