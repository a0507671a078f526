"""What all figures share: paper, ink, margins, and no gestures that fight with scrolling."""

import math
from typing import Any

from joulebook.web.figures.palette import Palette
from joulebook.web.region.regions import current

#: Plotly's own buttons and gestures stay away: a finger on a figure scrolls the page.
CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False, "doubleClick": False}

#: Room for the legend of the balance, four rows, with the ticks above it. [px]
LEGEND_PX = 140

NARROW = "\N{NARROW NO-BREAK SPACE}"
#: What of a figure's width is not for its lines: the margins left and right. [px]
AXIS_PX = 48

FONT = "system-ui, sans-serif"


def figure(traces: list[dict[str, Any]], layout: dict[str, Any]) -> dict[str, Any]:
    """Return a figure as plotly's script takes it."""
    return {"data": traces, "layout": layout, "config": CONFIG}


def base_layout(palette: Palette, *, height: int) -> dict[str, Any]:
    """Return the layout that a figure adds its axes to. ``height`` in pixels."""
    return {
        "height": height,
        "margin": {"l": 40, "r": 8, "t": 8, "b": 32},
        "paper_bgcolor": palette.paper,
        "plot_bgcolor": palette.paper,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "dragmode": False,
        "hovermode": "closest",
        "hoverlabel": {"font": {"family": FONT, "size": 14}},
        "separators": _separators(),
        "showlegend": False,
    }


def _separators() -> str:
    """Return the marks in the numbers that plotly itself writes, decimal and thousands."""
    region = current()
    return f"{region.decimal}{region.group or NARROW}"


def axis(palette: Palette, **more: Any) -> dict[str, Any]:
    """Return an axis: thin rules, fixed, its ticks inside of the figure's margin."""
    return {
        "fixedrange": True,
        "gridcolor": palette.rule,
        "linecolor": palette.rule,
        "zerolinecolor": palette.ink,
        "zerolinewidth": 1,
        "zerolinelayer": "below traces",
        **more,
    }


def legend_below() -> dict[str, Any]:
    """Return a legend in two columns at the figure's lower edge; it needs `LEGEND_PX`."""
    return {
        "orientation": "h",
        "entrywidthmode": "fraction",
        "entrywidth": 0.5,
        "x": 0,
        "xanchor": "left",
        "yref": "container",
        "y": 0,
        "yanchor": "bottom",
        "itemclick": False,
        "itemdoubleclick": False,
    }


def title_above(palette: Palette, text: str, top: float) -> dict[str, Any]:
    """Return an annotation that names a strip, standing on its upper edge (paper, 0 to 1)."""
    return {
        "text": text,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": top,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
    }


def nice_step(least: float) -> float:
    """Return the smallest of 1, 2 or 5 times a power of ten that is not less."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= least * 0.999)
