"""The figure of the warranty: what was measured, and the fan of what may come."""

from typing import Any

from joulebook.summaries.numbers import Document
from joulebook.web.figures.layout import axis, base_layout, figure, legend_below
from joulebook.web.figures.palette import Palette
from joulebook.web.figures.points import Point, points_trace
from joulebook.web.figures.wear import level, level_words
from joulebook.web.region import formats
from joulebook.web.words import figure_texts

_HEIGHT, _LEGEND_PX = 400, 56

#: Lines of the fan from the lowest up: the level, its dashes, and whether the band down to the
#: line before is shaded. The dashes tell them apart without colour.
_LINES = (
    ("p5_ratio", 5, "dot", None),
    ("p10_ratio", 10, "dash", 0.18),
    ("p50_ratio", 50, "solid", 0.34),
    ("p90_ratio", 90, "dash", 0.34),
    ("p95_ratio", 95, "dot", 0.18),
)
#: What the legend calls a kind of line; the upper one of each pair stands for both.


def warranty_figure(wear: Document, palette: Palette, *, rated_ah: float | None) -> dict[str, Any]:
    """Return measured capacities and the fan to the end of the warranty, with the floor.

    Parameters
    ----------
    wear : Document
        The wear document.
    rated_ah : float or None
        Capacities are shown as a share of it; left out without. [Ah]
    """
    terms = wear["warranty"]
    layout = base_layout(palette, height=_HEIGHT)
    layout["margin"] |= {"l": 48, "b": _LEGEND_PX + 28}
    layout |= {
        "showlegend": True,
        "legend": legend_below() | {"traceorder": "normal"},
        "xaxis": axis(palette, type="date", tickformat="%Y", nticks=6, zeroline=False),
        "yaxis": axis(palette, ticksuffix="%", nticks=6, zeroline=False),
    }
    if terms["floor_ratio"] is not None:
        floor = terms["floor_ratio"] * 100
        layout["shapes"] = [level(palette, floor, dash="longdash")]
        layout["annotations"] = [level_words(palette, "promised", floor)]
    refused = terms["expected_ratio"] is None  # then no middle is drawn
    traces = [
        _line(terms["fan"], palette, *each) for each in _LINES if each[1] != 50 or not refused
    ]
    if rated_ah is not None:
        traces.append(_measured(wear, rated_ah, palette))
    return figure(traces, layout)


def _line(
    fan: list[Document], palette: Palette, name: str, below: int, dash: str, shade: float | None
) -> dict[str, Any]:
    line = {
        "type": "scatter",
        "mode": "lines",
        "name": figure_texts.FAN.get(below, str(below)),
        "showlegend": below in figure_texts.FAN,
        "x": [point["date"] for point in fan],
        "y": [point[name] * 100 for point in fan],
        "text": [
            figure_texts.FAN_POINT.format(
                date=formats.iso_brief(point["date"]),
                below=below,
                share=formats.percent(point[name]),
            )
            for point in fan
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "line": {"color": palette.load, "width": 2.4 if dash == "solid" else 1.4, "dash": dash},
    }
    if shade is not None:
        line |= {"fill": "tonexty", "fillcolor": _shaded(palette.load, shade)}
    return line


def _shaded(colour: str, share: float) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share})"


def _measured(wear: Document, rated_ah: float, palette: Palette) -> dict[str, Any]:
    points = []
    for each in wear["capacity"]:
        if each["ah"] is None:
            continue
        value, low, high = (each[name] / rated_ah for name in ("ah", "low_ah", "high_ah"))
        words = f"{formats.iso_brief(each['date'])}, measured<br>{formats.percent(value)}"
        within = f"({formats.percent_interval(low, high)})"
        points.append(Point(each["date"], value * 100, low * 100, high * 100, f"{words} {within}"))
    return points_trace(points, "measured", palette.battery)
