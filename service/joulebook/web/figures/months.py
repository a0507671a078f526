"""The figure of the months: energy by month, and below it what the battery gave back."""

from collections.abc import Sequence
from typing import Any

from joulebook.web.figures.balance import Bar, balance_ticks, balance_traces
from joulebook.web.figures.layout import (
    LEGEND_PX,
    axis,
    base_layout,
    figure,
    legend_below,
    title_above,
)
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.spans.months import Month
from joulebook.web.words import figure_texts

_MOST_TICKS = 5


def months_figure(months: Sequence[Month], palette: Palette) -> dict[str, Any]:
    """Return bars of energy, and points of round-trip efficiency with their intervals."""
    bars = [
        Bar(
            formats.month_short(month.first).replace(formats.NBSP, "<br>"),
            formats.month_long(month.first),
            month.totals,
        )
        for month in months
    ]
    every = -(-len(bars) // _MOST_TICKS) or 1
    ticks = list(range(0, len(bars), every))
    layout = base_layout(palette, height=460 + LEGEND_PX)
    layout["margin"] |= {"b": LEGEND_PX}
    layout |= {
        "barmode": "relative",
        "bargap": 0.2,
        "showlegend": True,
        "legend": legend_below(),
        "xaxis": axis(
            palette,
            tickvals=ticks,
            ticktext=[bars[place].tick for place in ticks],
            range=[-0.5, len(bars) - 0.5],
            showgrid=False,
            zeroline=False,
            tickangle=0,
            anchor="y2",
        ),
        "yaxis": axis(palette, domain=[0.42, 0.94], **balance_ticks(bars)),
        "yaxis2": axis(
            palette, domain=[0, 0.3], anchor="x", ticksuffix="%", nticks=4, zeroline=False
        ),
        "annotations": [
            title_above(palette, figure_texts.MONTH_ENERGY, 0.94),
            title_above(palette, figure_texts.MONTH_ROUND_TRIP, 0.3),
        ],
    }
    return figure([*balance_traces(bars, palette), _round_trip(months, palette)], layout)


def _round_trip(months: Sequence[Month], palette: Palette) -> dict[str, Any]:
    given = [
        (place, month.name, month.round_trip)
        for place, month in enumerate(months)
        if month.round_trip.value is not None
    ]
    value = [number.value * 100 for _, _, number in given if number.value is not None]
    low = [number.low * 100 for _, _, number in given if number.low is not None]
    high = [number.high * 100 for _, _, number in given if number.high is not None]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": figure_texts.ROUND_TRIP,
        "showlegend": False,
        "x": [place for place, _, _ in given],
        "y": value,
        "yaxis": "y2",
        "text": [
            f"{name}<br>{formats.percent(number.value)} "
            f"({formats.percent_interval(number.low, number.high)})"
            for _, name, number in given
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": palette.battery, "size": 9, "symbol": "diamond"},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [top - middle for top, middle in zip(high, value, strict=True)],
            "arrayminus": [middle - bottom for middle, bottom in zip(value, low, strict=True)],
            "color": palette.battery,
            "thickness": 2,
            "width": 4,
        },
    }
