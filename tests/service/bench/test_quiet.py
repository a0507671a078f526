import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from joulebook.bench.quiet import Quietness, Watch


def seen(others: float | None, stolen: float | None) -> Quietness:
    return Quietness(load_before=0.1, load_after=1.0, others_ratio=others, stolen_ratio=stolen)


def stat(file: Path, *, user: int, steal: int = 0) -> None:
    # proc(5): cpu user nice system idle iowait irq softirq steal guest guest_nice, in ticks.
    file.write_text(f"cpu  {user} 0 0 900 0 0 0 {steal} 0 0\ncpu0 0 0 0 0 0 0 0 0 0 0\n")


def two_cores(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Watch a machine of two cores for ten seconds; return where its counts are to stand."""
    times = iter([100.0, 110.0])
    clock = SimpleNamespace(monotonic=lambda: next(times))  # its own: others ask the real one too
    monkeypatch.setattr("joulebook.bench.quiet.time", clock)
    monkeypatch.setattr("joulebook.bench.quiet.os.cpu_count", lambda: 2)
    return folder / "stat"


def test_what_others_take_is_told_and_makes_the_machine_loud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = two_cores(tmp_path, monkeypatch)
    own = iter([1.0, 5.0])
    monkeypatch.setattr("joulebook.bench.quiet._own_s", lambda: next(own))
    ticks = os.sysconf("SC_CLK_TCK")
    stat(file, user=1000)
    watch = Watch(file)
    # By hand: 10 s on 2 cores, 7 s busy of which 4 s were ours, 1 s stolen.
    stat(file, user=1000 + 7 * ticks, steal=ticks)
    quietness = watch.end()
    assert quietness.others_ratio == pytest.approx(3 / 20)
    assert quietness.stolen_ratio == pytest.approx(1 / 20)
    assert quietness.quiet is False
    assert "others took 15.0% of the cores' time and the host 5.0%: NOT QUIET" in quietness.words()


def test_children_that_still_run_are_no_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = two_cores(tmp_path, monkeypatch)
    monkeypatch.setattr("joulebook.bench.quiet._own_s", lambda: 1.0)
    stat(file, user=1000)
    watch = Watch(file)
    # By hand: 10 s on 2 cores, 7 s busy, 6.5 of them a service's that we started.
    stat(file, user=1000 + 7 * os.sysconf("SC_CLK_TCK"))
    quietness = watch.end(beside_s=6.5)
    assert quietness.others_ratio == pytest.approx(0.5 / 20)
    assert quietness.quiet is True


def test_the_machine_that_runs_this_is_watched() -> None:
    quietness = Watch().end()
    assert quietness.load_before >= 0
    assert (quietness.others_ratio is not None) == Path("/proc/stat").exists()


def test_a_quiet_machine_is_called_quiet() -> None:
    assert seen(0.01, 0.0).quiet is True
    assert seen(0.01, 0.0).words().endswith("others took 1.0% of the cores' time: quiet")


def test_where_nothing_is_known_nothing_is_claimed(tmp_path: Path) -> None:
    quietness = Watch(tmp_path / "absent").end()
    assert quietness.quiet is None
    assert quietness.words().endswith("what others took is not known on this system")
