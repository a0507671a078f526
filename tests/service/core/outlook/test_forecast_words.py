"""Probabilities in words."""

import pytest

from joulebook.core.outlook.forecast_words import verdict_of


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "very likely to hold"),
        (0.95, "very likely to hold"),
        (0.949, "likely to hold"),
        (0.5, "more likely to hold than not"),
        (0.499, "more likely to fall short than not"),
        (0.1, "likely to fall short"),
        (0.0, "very likely to fall short"),
        (None, "no floor was entered"),
    ],
)
def test_words(probability: float | None, words: str) -> None:
    assert verdict_of(probability) == words
