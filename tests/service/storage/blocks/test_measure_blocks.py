"""The measuring command prints what its page quotes."""

import re
import sys

import pytest

from tests.measure_blocks import main


def test_sizes_and_rates_are_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["measure_blocks", "--weeks=1", "--rounds=1", "--noise=1"])
    main()
    printed = capsys.readouterr().out
    sizes = re.findall(r"bytes a reading: (0\.\d{4}) by day, (0\.\d{4}) by week", printed)
    assert len(sizes) == 2  # regular, and with jitter
    assert all(float(by_day) > float(by_week) for by_day, by_week in sizes)
    assert len(re.findall(r"encode \d+\.\d M readings/s .* x 6 series \d+ us", printed)) == 2
