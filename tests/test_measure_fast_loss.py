"""The measurement of fast losses: what it counts and prints, on eleven days of one home."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from joulebook.core.battery.fast_loss import METHOD
from joulebook.core.estimate import Estimate, refused
from tests import measure_fast_loss
from tests.helpers.homes import named_homes


def test_it_counts_what_is_told_falsely_and_prints_the_worn_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    spec = replace(named_homes()["deep-perfect"], years=0.03)
    rated = spec.pack.rated_ah

    def by_nights(share: float) -> Estimate:
        held = rated * share
        return Estimate(
            value=held, low=held * 0.9, high=held * 1.1, coverage_ratio=1.0, method=METHOD
        )

    answers = iter([refused("too few nights", method="capacity-1"), by_nights(0.8), by_nights(0.5)])

    def analyse(_inputs: object) -> SimpleNamespace:
        fit = SimpleNamespace(capacity_at=lambda at_ms: (np.full(at_ms.size, 0.9 * rated), None))
        latest = SimpleNamespace(ah=next(answers))
        return SimpleNamespace(capacity=SimpleNamespace(latest=latest), fit=fit)

    monkeypatch.setattr(measure_fast_loss, "analyse", analyse)
    monkeypatch.setattr(measure_fast_loss, "draw_homes", lambda *_, **__: [spec])
    monkeypatch.setattr(measure_fast_loss, "LOOKS", (5, 9, 400))  # the last is beyond
    monkeypatch.setattr(measure_fast_loss, "WORN_LOOKS", (9,))
    assert measure_fast_loss.main(["--homes", "1"]) == 0
    falsely, counted, worn = capsys.readouterr().out.splitlines()
    assert falsely.startswith("falsely: deep-perfect, day 9: 80.0% [72.0% to 88.0%], true ")
    assert counted == "1 homes that age as usual, 2 looks, told falsely: 1"
    assert worn.startswith("by newest nights: deep-perfect, day 9: 50.0% [45.0% to 55.0%], true ")
    assert worn.endswith("fit 90.0%")
