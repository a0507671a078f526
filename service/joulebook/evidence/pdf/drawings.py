"""The PDF's pictures: a line with its interval over time, drawn by us and without colour."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.graphics.shapes import Drawing, Line, Polygon, PolyLine, String
from reportlab.lib.colors import Color, black

_GREY, _PALE = Color(0.35, 0.35, 0.35), Color(0.85, 0.85, 0.85)
_LEFT, _BOTTOM, _TOP = 40.0, 24.0, 20.0
_SMALL = 7


@dataclass(frozen=True, slots=True)
class Band:
    """Dates, a value for each, and its interval."""

    days: Sequence[date]
    values: Sequence[float]
    lows: Sequence[float]
    highs: Sequence[float]


def band_drawing(
    band: Band,
    *,
    width: float,
    height: float,
    unit: str,
    level: tuple[float, str] | None = None,
) -> Drawing:
    """Return a picture of a band, two days at least; ``level`` is a line across with its name."""
    drawing = Drawing(width, height)
    low, high, step = _scale([*band.lows, *band.highs, *([level[0]] if level else [])])
    first, last = band.days[0], band.days[-1]
    days = max((last - first).days, 1)

    def x(day: date) -> float:
        return _LEFT + (width - _LEFT - 4) * (day - first).days / days

    def y(value: float) -> float:
        return _BOTTOM + (height - _BOTTOM - _TOP) * (value - low) / (high - low)

    edge = [
        *zip(map(x, band.days), map(y, band.highs), strict=True),
        *reversed(list(zip(map(x, band.days), map(y, band.lows), strict=True))),
    ]
    drawing.add(Polygon(_flat(edge), fillColor=_PALE, strokeColor=None))
    value = low
    while value <= high + step / 1000:
        drawing.add(Line(_LEFT, y(value), width - 4, y(value), strokeColor=_GREY, strokeWidth=0.25))
        drawing.add(_text(_LEFT - 4, y(value) - 2.5, f"{value:g}", anchor="end"))
        value += step
    drawing.add(_text(_LEFT - 18, height - 8, unit))
    for day in dict.fromkeys((first, *_new_years(first, last), last)):
        drawing.add(Line(x(day), _BOTTOM, x(day), _BOTTOM - 3, strokeColor=_GREY, strokeWidth=0.5))
    for day, anchor in ((first, "start"), (last, "end")):
        drawing.add(_text(x(day), _BOTTOM - 12, day.isoformat(), anchor=anchor))
    middle = list(zip(map(x, band.days), map(y, band.values), strict=True))
    drawing.add(PolyLine(_flat(middle), strokeColor=black, strokeWidth=1.2))
    if level is not None:
        drawing.add(
            Line(
                *(_LEFT, y(level[0]), width - 4, y(level[0])),
                strokeColor=black,
                strokeWidth=0.8,
                strokeDashArray=[4, 3],
            )
        )
        drawing.add(_text(width - 6, y(level[0]) + 3, level[1], anchor="end"))
    return drawing


def _scale(values: Sequence[float]) -> tuple[float, float, float]:
    """Return round ends around values, and the step between the lines."""
    low, high = min(values), max(values)
    spread = max(high - low, abs(high) * 0.02, 1e-6)
    step = next(
        size * 10.0**power
        for power in range(-6, 9)
        for size in (1, 2, 5)
        if spread / (size * 10.0**power) <= 6
    )
    return step * (low // step), step * -(-high // step), step


def _new_years(first: date, last: date) -> list[date]:
    return [date(year, 1, 1) for year in range(first.year + 1, last.year + 1)]


def _flat(points: Sequence[tuple[float, float]]) -> list[float]:
    return [each for point in points for each in point]


def _text(x: float, y: float, words: str, *, anchor: str = "start") -> String:
    return String(x, y, words, fontName="Helvetica", fontSize=_SMALL, textAnchor=anchor)
