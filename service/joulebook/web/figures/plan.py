"""The figure of a plan: energy bought and sold by month, as it was and as it would have been."""

from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.planning.plan import Plan
from joulebook.summaries.plan_ground import PlanGround
from joulebook.web.figures.layout import axis, base_layout, figure, legend_below
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.words import figure_texts

_HEIGHT = 360
_MOST_TICKS = 5


def plan_figure(ground: PlanGround, plan: Plan | None, palette: Palette) -> dict[str, Any]:
    """Return bars a month: bought upwards, sold downwards, what was beside what would have been."""
    layout = base_layout(palette, height=_HEIGHT)
    if plan is None or plan.base is None or plan.course is None or ground.time is None:
        return figure([], layout)
    place = ground.month_index - ground.month_index.min()
    count = int(place.max()) + 1
    names = [_name(int(ground.month_index.min()) + each) for each in range(count)]
    time, base, course = ground.time, plan.base, plan.course

    def sums(wh: NDArray[np.float64]) -> list[float]:
        weights = np.where(time.known, wh, 0.0)
        return [float(each) / 1000 for each in np.bincount(place, weights, minlength=count)]

    bought = sums(time.import_wh), sums(time.import_wh + course.import_wh - base.import_wh)
    sold = sums(time.export_wh), sums(time.export_wh + course.export_wh - base.export_wh)
    every = -(-count // _MOST_TICKS)
    ticks = list(range(0, count, every))
    layout["margin"] |= {"l": 48, "b": 100}
    layout |= {
        "barmode": "group",
        "bargap": 0.2,
        "showlegend": True,
        "legend": legend_below(),
        "xaxis": axis(
            palette,
            tickvals=ticks,
            ticktext=[names[each].replace(formats.NBSP, "<br>") for each in ticks],
            range=[-0.5, count - 0.5],
            showgrid=False,
            zeroline=False,
            tickangle=0,
        ),
        "yaxis": axis(palette, nticks=6),
    }
    words = figure_texts.PLANNED
    traces = [
        _bars(names, bought[0], words["bought"], 1, ("was", palette.grid, ""), palette),
        _bars(names, bought[1], words["would_buy"], 1, ("would", palette.grid, "/"), palette),
        _bars(names, sold[0], words["sold"], -1, ("was", palette.grid, ""), palette),
        _bars(names, sold[1], words["would_sell"], -1, ("would", palette.grid, "/"), palette),
    ]
    return figure(traces, layout)


def _bars(
    names: list[str],
    kwh: list[float],
    word: str,
    sign: int,
    look: tuple[str, str, str],
    palette: Palette,
) -> dict[str, Any]:
    group, colour, pattern = look
    return {
        "type": "bar",
        "name": word,
        "offsetgroup": group,
        "x": list(range(len(names))),
        "y": [sign * each for each in kwh],
        "text": [
            f"{name}<br>{word}: {formats.kwh_words(each * 1000)}"
            for name, each in zip(names, kwh, strict=True)
        ],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "color": colour,
            "line": {"color": palette.paper, "width": 1},
            "pattern": {
                "shape": pattern,
                "fillmode": "overlay",
                "fgcolor": palette.paper,
                "size": 6,
                "solidity": 0.3,
            },
        },
    }


def _name(months: int) -> str:
    return formats.month_short(date(months // 12, months % 12 + 1, 1))
