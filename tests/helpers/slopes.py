"""The slope of a curve that was watched for a while, with an interval that knows of its waves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Slope:
    """Change per hour: least squares, with a 90 % interval."""

    per_hour: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.per_hour:+.3g} per hour ({self.low:+.3g} to {self.high:+.3g})"


def slope(at_s: list[float], values: list[float], *, draws: int = 2000) -> Slope:
    """Fit a line. Residuals are drawn in runs, for what is next to each other is alike.

    The moving-block bootstrap (Künsch 1989, Annals of Statistics 17:1217), runs of the
    cube root of the length.
    """
    hours = np.asarray(at_s) / 3600
    measured = np.asarray(values, dtype=np.float64)
    line = _line(hours, measured)
    rest = measured - line[0] * hours - line[1]
    size = max(1, round(len(measured) ** (1 / 3)))
    chance = np.random.default_rng(1989)
    starts = chance.integers(0, len(rest) - size + 1, (draws, -(-len(rest) // size)))
    drawn = rest[starts[..., None] + np.arange(size)].reshape(draws, -1)[:, : len(rest)]
    centred = hours - hours.mean()
    slopes = line[0] + drawn @ centred / (centred @ centred)
    low, high = np.quantile(slopes, (0.05, 0.95))
    return Slope(line[0], float(low), float(high))


def _line(at: NDArray[np.float64], values: NDArray[np.float64]) -> tuple[float, float]:
    rise, offset = np.polyfit(at, values, 1)
    return float(rise), float(offset)
