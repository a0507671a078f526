"""A small run of ``python -m tests.measure_memory``: a wide limit, for a leak that is plain."""

from pathlib import Path

import pytest

from tests.helpers.seen_processes import SeenProcess
from tests.measure_memory import Measured, main, measure


def test_memory_does_not_grow_with_messages(tmp_path: Path) -> None:
    measured = measure(12_000, 6, tmp_path)
    assert measured.messages[-1] == 12_000
    first, *_, last = measured.looks
    # 500 bytes kept of each message would already be 5 MB. What grows at first are caches.
    assert last.resident_mb - first.resident_mb < 5
    assert last.open_files <= first.open_files + 2


def test_the_slope_is_per_million_messages() -> None:
    looks = [SeenProcess(90.0, 9, 9), *(SeenProcess(100.0 + step, 9, 9) for step in range(9))]
    measured = Measured([step * 100_000 for step in range(10)], looks, 1.0)
    assert measured.per_million().per_hour == pytest.approx(10.0)  # 1 MB each 100,000


def test_the_command_prints_each_tenth_and_a_slope(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--messages", "2000"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 12
    assert lines[-1].startswith("memory: ")
