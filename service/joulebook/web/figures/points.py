"""Points with their intervals, as several figures draw them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Point:
    """One number with its interval, where it stands along the axis, and words for a finger."""

    x: int | str
    value: float
    low: float
    high: float
    words: str


def points_trace(points: Sequence[Point], name: str, colour: str, **more: Any) -> dict[str, Any]:
    """Return points with a bar from the low end to the high end of each interval."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [point.x for point in points],
        "y": [point.value for point in points],
        "text": [point.words for point in points],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": colour, "size": 9, "symbol": "diamond"},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [point.high - point.value for point in points],
            "arrayminus": [point.value - point.low for point in points],
            "color": colour,
            "thickness": 2,
            "width": 4,
        },
        **more,
    }
