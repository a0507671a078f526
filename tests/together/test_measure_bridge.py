"""The measuring command on a small scale: a quarter of an hour without network, delivered."""

import json
import subprocess
import sys

import pytest

from tests.measure_bridge import main


def test_all_that_waited_is_stored_faster_than_it_was_measured(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["measure_bridge", "--days=0.02", "--seconds=8"])
    main()
    told = json.loads(capsys.readouterr().out)
    offline, alone = told["offline"], told["alone"]
    # 0.02 days of seconds, two devices, ten quantities.
    assert offline["readings"] == offline["stored"] == 1728 * 2 * 10
    assert offline["replayed_per_s"] > 20
    assert told["power_cut"]["unsafe_most_ms"] >= 1000
    assert alone["readings_per_s"] > 0
    assert 0 < alone["most_resident_mb"] < 40


def test_it_says_how_to_use_it() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.measure_bridge", "--help"], capture_output=True, check=True
    )
    assert b"--days" in done.stdout
