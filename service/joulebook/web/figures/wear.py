"""The figures of wear: the capacity with the nights that tell it, and the depths of cycles."""

from collections.abc import Sequence
from typing import Any

from joulebook.summaries.numbers import Document
from joulebook.summaries.page_documents import Night
from joulebook.web.figures.layout import axis, base_layout, figure, legend_below
from joulebook.web.figures.palette import Palette
from joulebook.web.figures.points import Point, points_trace
from joulebook.web.region import formats
from joulebook.web.words import figure_texts
from joulebook.web.words.wear_rows import depth_words

_CAPACITY_PX, _DEPTHS_PX, _LEGEND_PX = 360, 220, 30
#: Left of the axis of the capacity. [px]
_LEFT_PX = 44


def capacity_figure(
    wear: Document,
    nights: Sequence[Night],
    palette: Palette,
    *,
    rated_ah: float | None,
    width: int,
) -> dict[str, Any]:
    """Return capacity points with intervals over the dots of the nights that count.

    Parameters
    ----------
    wear : Document
        The wear document.
    nights : sequence of Night
        In order. Where more of them count than two a pixel, the least and the greatest of each
        pixel are drawn.
    rated_ah : float or None
        Drawn as a line. [Ah]
    width : int
        Of the picture. [px]
    """
    layout = base_layout(palette, height=_CAPACITY_PX)
    layout["margin"] |= {"l": _LEFT_PX, "b": _LEGEND_PX + 44}
    layout |= {
        "showlegend": True,
        "legend": legend_below(),
        "xaxis": axis(
            palette, type="date", tickformat="%b<br>%Y", nticks=5, showgrid=False, zeroline=False
        ),
        "yaxis": axis(palette, nticks=6, zeroline=False),
    }
    inside = max(10, width - _LEFT_PX - int(layout["margin"]["r"]))
    traces = [_nights(nights, palette, inside), _points(wear, palette)]
    if rated_ah is not None:
        layout["shapes"] = [level(palette, rated_ah, dash="dash")]
        layout["annotations"] = [level_words(palette, "rated", rated_ah)]
    return figure(traces, layout)


def depths_figure(bins: Sequence[Document], palette: Palette) -> dict[str, Any]:
    """Return a bar for each band of depths: how many cycles were so deep."""
    layout = base_layout(palette, height=_DEPTHS_PX)
    layout["margin"] |= {"b": 44}
    names = [f"{each['to_ratio'] * 100:.0f}" for each in bins]
    layout |= {
        "bargap": 0.25,
        "xaxis": axis(
            palette,
            tickvals=list(range(len(bins))),
            ticktext=names,
            showgrid=False,
            zeroline=False,
            title={"text": figure_texts.DEPTH_AXIS, "font": {"size": 12}, "standoff": 6},
        ),
        "yaxis": axis(palette, nticks=4, rangemode="tozero"),
    }
    trace = {
        "type": "bar",
        "name": figure_texts.CYCLES,
        "x": list(range(len(bins))),
        "y": [each["count"] for each in bins],
        "text": [
            figure_texts.CYCLES_BAR.format(
                depth=depth_words(each), count=formats.fixed(each["count"], 1)
            )
            for each in bins
        ],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": palette.battery},
    }
    return figure([trace], layout)


def level(palette: Palette, value: float, *, dash: str) -> dict[str, Any]:
    """Return a line across the figure at a value."""
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": value,
        "y1": value,
        "line": {"color": palette.ink, "width": 1.5, "dash": dash},
    }


def level_words(palette: Palette, words: str, value: float) -> dict[str, Any]:
    """Return the word that stands on such a line."""
    return {
        "text": words,
        "xref": "paper",
        "x": 1,
        "y": value,
        "xanchor": "right",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 12, "color": palette.ink},
    }


def _nights(nights: Sequence[Night], palette: Palette, width: int) -> dict[str, Any]:
    known = [(night, night.ah) for night in nights if night.counts and night.ah is not None]
    counting = _extremes(known, width)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": figure_texts.NIGHT,
        "x": [night.full[:10] for night, _ in counting],
        "y": [ah for _, ah in counting],
        "text": [
            figure_texts.NIGHT_POINT.format(
                date=formats.iso_brief(night.full),
                ah=formats.fixed(ah, 0),
                interval=formats.interval(night.low_ah, night.high_ah, 0),
            )
            for night, ah in counting
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": palette.load, "size": 5, "symbol": "circle-open"},
    }


def _extremes(known: list[tuple[Night, float]], width: int) -> list[tuple[Night, float]]:
    """Return nights in order: of each pixel the one of the least and of the greatest capacity."""
    if len(known) <= 2 * width:
        return known
    kept = []
    for pixel in range(width):
        first, last = (len(known) * each // width for each in (pixel, pixel + 1))
        of_pixel = range(first, last)
        least = min(of_pixel, key=lambda place: known[place][1])
        greatest = max(of_pixel, key=lambda place: known[place][1])
        kept += sorted({least, greatest})
    return [known[place] for place in kept]


def _points(wear: Document, palette: Palette) -> dict[str, Any]:
    points = [
        Point(
            x=each["date"],
            value=each["ah"],
            low=each["low_ah"],
            high=each["high_ah"],
            words=f"{formats.iso_brief(each['date'])}<br>{formats.fixed(each['ah'], 0)} Ah "
            f"({formats.interval(each['low_ah'], each['high_ah'], 0)})",
        )
        for each in wear["capacity"]
        if each["ah"] is not None
    ]
    return points_trace(points, "stated", palette.battery)
