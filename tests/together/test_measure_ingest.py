import json
import subprocess
import sys

import pytest

from tests.measure_ingest import main


def test_the_measuring_command_counts_what_it_sent(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["measure_ingest", "--publishers=1", "--messages=50"])
    main()
    assert json.loads(capsys.readouterr().out)["messages"] == 50


def test_it_says_how_to_use_it() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.measure_ingest", "--help"], capture_output=True, check=True
    )
    assert b"--publishers" in done.stdout
