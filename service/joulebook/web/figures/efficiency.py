"""The figure of efficiency: what the battery gave back, quarter by quarter."""

from datetime import date
from typing import Any

from joulebook.summaries.numbers import Document
from joulebook.web.figures.layout import axis, base_layout, figure
from joulebook.web.figures.palette import Palette
from joulebook.web.figures.points import Point, points_trace
from joulebook.web.region import formats
from joulebook.web.words import figure_texts

_HEIGHT = 260
_MOST_TICKS = 5


def efficiency_figure(report: Document, palette: Palette) -> dict[str, Any]:
    """Return a point with its interval for each quarter; one that is refused is a gap."""
    quarters = report["quarters"]
    every = -(-len(quarters) // _MOST_TICKS) or 1
    ticks = list(range(0, len(quarters), every))
    points = [
        Point(
            x=place,
            value=quarter["ratio"] * 100,
            low=quarter["low_ratio"] * 100,
            high=quarter["high_ratio"] * 100,
            words=f"{formats.iso_brief(quarter['from'])} to "
            f"{formats.iso_brief(min(quarter['to'], report['record']['to']))}<br>"
            f"{formats.percent(quarter['ratio'])} "
            f"({formats.percent_interval(quarter['low_ratio'], quarter['high_ratio'])})",
        )
        for place, quarter in enumerate(quarters)
        if quarter["ratio"] is not None
    ]
    layout = base_layout(palette, height=_HEIGHT)
    layout["margin"] |= {"l": 48, "b": 44}
    layout |= {
        "xaxis": axis(
            palette,
            tickvals=ticks,
            ticktext=[_tick(quarters[place]) for place in ticks],
            range=[-0.5, len(quarters) - 0.5],
            showgrid=False,
            zeroline=False,
            tickangle=0,
        ),
        "yaxis": axis(palette, ticksuffix="%", nticks=5, zeroline=False),
    }
    return figure([points_trace(points, figure_texts.GAVE_BACK, palette.battery)], layout)


def _tick(quarter: Document) -> str:
    begins = date.fromisoformat(quarter["from"])
    return formats.quarter(begins).replace(formats.NBSP, "<br>")
