"""The soak on a small scale: seconds, to try what looks and counts."""

import math
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests import soak
from tests.helpers.slopes import Slope, slope


def test_some_seconds_of_two_homes_are_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    soak.soak(tmp_path, hours=12 / 3600, homes=2, every_s=3.0, history_h=0.05)
    told = capsys.readouterr().out
    before, *lines = told.splitlines()
    assert before.startswith("stored before: 720 readings")  # 2 homes, 20 quantities, 18 instants
    assert lines[0].split()[:3] == ["min", "service", "MB"]
    looks = [line.split() for line in lines[1:5]]
    assert [len(numbers) for numbers in looks] == [len(soak.HEADS)] * 4
    assert "damaged: nothing" in told
    assert "pages asked for 4, without an answer 0" in told
    assert ", lost 0" in lines[-1]


@pytest.mark.parametrize("hour", range(24))
def test_the_homes_are_where_it_is_late(hour: int) -> None:
    at = datetime(2026, 3, 1, hour, 59, tzinfo=UTC)
    zone = ZoneInfo(soak.zone_where_it_is_late(at.timestamp()))
    assert at.astimezone(zone).hour == soak.LATE_H


def test_a_page_with_a_fault_is_no_answer() -> None:
    assert math.isnan(soak.page("http://127.0.0.1:9/sites/studio"))


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (-0.2, 0.9, "flat"),
        (0.2, 0.9, "within its bound"),
        (1.5, 2.5, "grows"),
        (-1.0, 3.0, "cannot be told yet"),
        (0.5, 3.0, "cannot be told yet"),
    ],
)
def test_a_verdict_is_of_the_interval_and_the_bound(low: float, high: float, said: str) -> None:
    words = soak.verdict("memory", Slope((low + high) / 2, low, high), 1.0)
    assert words.endswith(f"bound 1: {said}")


def test_a_line_has_its_slope_and_no_doubt() -> None:
    # By hand: 2 more each half hour.
    fitted = slope([0.0, 1800.0, 3600.0, 5400.0], [1.0, 3.0, 5.0, 7.0])
    assert (round(fitted.per_hour, 9), round(fitted.low, 9), round(fitted.high, 9)) == (4, 4, 4)


def test_waves_without_a_slope_have_an_interval_around_nothing() -> None:
    at_s = [60.0 * minute for minute in range(240)]
    fitted = slope(at_s, [10 + math.sin(each / 700) for each in at_s])
    assert fitted.low < 0 < fitted.high
    assert fitted.high - fitted.low < 0.5


def test_the_command_soaks_as_long_and_as_much_as_it_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[tuple[float, int, float, float]] = []

    def instead(_: Path, *, hours: float, homes: int, every_s: float, history_h: float) -> bool:
        asked.append((hours, homes, every_s, history_h))
        return hours < 3

    monkeypatch.setattr(soak, "soak", instead)
    monkeypatch.setattr("sys.argv", ["soak"])
    assert soak.main() == 1
    monkeypatch.setattr(
        "sys.argv", ["soak", "--hours=0.5", "--rate=5x", "--every-s=10", "--history-h=1"]
    )
    assert soak.main() == 0
    assert asked == [(3.0, 20, 60.0, 26.0), (0.5, 5, 10.0, 1.0)]
    assert capsys.readouterr().out.startswith("load average")
