"""Currents around rest, by hand."""

import numpy as np
import pytest

from joulebook.core.outlook.rest_current import without_noise
from tests.helpers.pack_records import MINUTE_MS


def _settled(minutes: list[int], amps: list[float]) -> list[float]:
    at_ms = np.array(minutes, dtype=np.int64) * MINUTE_MS
    found: list[float] = without_noise(at_ms, np.array(amps), np.full(len(amps), 1 / 60)).tolist()
    return found


def test_quiet_stretches_become_their_mean_and_others_stay() -> None:
    found = _settled([0, 1, 2, 3, 4, 5], [0.5, -0.3, 0.7, 12.0, -0.9, -0.5])
    assert found == pytest.approx([0.3, 0.3, 0.3, 12.0, -0.7, -0.7])


def test_around_rest_is_nothing() -> None:
    assert _settled([0, 1, 2], [0.6, -0.5, 0.2]) == [0.0, 0.0, 0.0]


def test_an_hour_ends_a_stretch() -> None:
    assert _settled([58, 59, 60, 61], [0.2, 0.4, 0.8, 0.6]) == pytest.approx([0.3, 0.3, 0.7, 0.7])


def test_longer_readings_weigh_more() -> None:
    at_ms = np.array([0, MINUTE_MS], dtype=np.int64)
    found = without_noise(at_ms, np.array([0.8, 0.2]), np.array([1.0, 3.0]))
    assert found.tolist() == pytest.approx([0.35, 0.35])


def test_nothing_quiet_and_nothing_at_all() -> None:
    assert _settled([0, 1], [5.0, -5.0]) == [5.0, -5.0]
    assert _settled([], []) == []


def test_noise_around_rest_is_no_throughput() -> None:
    # Ten days at rest with noise of 0.3 A: rectified one by one it would be 0.19 A all along.
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 0.3, 10 * 1440)
    at_ms = np.arange(noise.size) * MINUTE_MS
    found = without_noise(at_ms, noise, np.full(noise.size, 1 / 60))
    assert float(np.mean(np.abs(found))) < 0.005
