"""A small fixed set of the batteries that ``python -m tests.measure_forecast`` prints more of."""

import numpy as np
import pytest

from tests.measure_forecast import main, outcomes


def test_intervals_are_right_about_as_often_as_they_say() -> None:
    # 90 % asked; of 40 batteries that is 36, and 33 to 39 in most draws. Wide limits: see the page.
    widest = {12: 0.20, 36: 0.075}
    for month, rows in outcomes(40, 7, (12, 36)).items():
        truth, low, middle, high = np.array(rows).T
        assert 0.80 <= float(np.mean((truth >= low) & (truth <= high))) <= 0.99
        assert abs(float(np.median(middle - truth))) < 0.02
        assert float(np.median(high - low)) < widest[month]


def test_the_command_prints_a_row_for_each_length(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--batteries", "2", "--seed", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("2 batteries, seed 3")
    assert [line.split("|")[1].strip() for line in lines[3:]] == ["6", "12", "18", "24", "36"]
