import time
from pathlib import Path

from joulebook_bridge.clock import _boot, kernel_says, system_clock


def test_this_machines_clocks_run() -> None:
    clock = system_clock()
    before, after = clock.now(), clock.now()
    assert before.mono_ms <= after.mono_ms
    assert abs(before.wall_ms - time.time() * 1000) < 5000
    assert clock.boot
    assert clock.is_set() in (True, False, None)


def test_what_the_kernel_says_of_its_clock() -> None:
    # adjtimex(2): 0 to 4 are states of a synchronised clock, 5 (TIME_ERROR) is none; -1 failed.
    assert kernel_says(lambda: 0) is True
    assert kernel_says(lambda: 5) is False
    assert kernel_says(lambda: -1) is None

    def no_such_call() -> int:
        raise AttributeError("adjtimex")

    assert kernel_says(no_such_call) is None


def test_a_system_without_a_boots_name(tmp_path: Path) -> None:
    assert _boot(tmp_path / "none") == "unknown"
    (tmp_path / "boot_id").write_text("abc\n")
    assert _boot(tmp_path / "boot_id") == "abc"
