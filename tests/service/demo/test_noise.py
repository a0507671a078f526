import numpy as np
import pytest

from joulebook.demo.noise import bell, chance

STEPS = np.arange(200_000, dtype=np.int64) * 120_000 + 1_756_702_800_000


def test_noise_belongs_to_the_instant_whatever_else_is_asked() -> None:
    many = bell(STEPS[:1000], "grid.power")
    one_by_one = [bell(STEPS[at : at + 1], "grid.power")[0] for at in range(0, 1000, 97)]
    np.testing.assert_array_equal(many[::97], one_by_one)


def test_noise_is_bell_shaped() -> None:
    noise = bell(STEPS, "grid.power")
    assert noise.mean() == pytest.approx(0, abs=0.01)
    assert noise.std() == pytest.approx(1, abs=0.01)
    # Of a normal distribution 68.3 % lie within one deviation (handbook value).
    assert np.mean(np.abs(noise) < 1) == pytest.approx(0.683, abs=0.02)
    assert np.abs(noise).max() < 3.5


def test_neighbours_and_names_have_nothing_in_common() -> None:
    noise = bell(STEPS, "grid.power")
    # Four deviations of a correlation of 200,000 independent pairs are 0.009.
    assert abs(np.corrcoef(noise[1:], noise[:-1])[0, 1]) < 0.009
    assert abs(np.corrcoef(noise, bell(STEPS, "pv.power"))[0, 1]) < 0.009


def test_chance_is_even() -> None:
    draws = chance(STEPS, "battery answers")
    counts, _ = np.histogram(draws, bins=10, range=(0, 1))
    assert counts.sum() == len(STEPS)
    assert np.abs(counts - len(STEPS) / 10).max() < 4 * np.sqrt(len(STEPS) * 0.09)
