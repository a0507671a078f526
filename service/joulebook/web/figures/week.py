"""The figure of a week."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from joulebook.core.daily.days import DayResult
from joulebook.web.figures.balance import Bar, balance_ticks, balance_traces
from joulebook.web.figures.layout import LEGEND_PX, axis, base_layout, figure, legend_below
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.spans.totals import says_something


def week_figure(
    shown: Sequence[date], days: Sequence[DayResult], palette: Palette, *, today: date
) -> dict[str, Any]:
    """Return bars of energy by day; a day without a result says so below its empty place."""
    by_date = {day.date: day for day in days if says_something(day)}
    bars = [_bar(day, by_date.get(day), today) for day in shown]
    layout = base_layout(palette, height=280 + LEGEND_PX)
    layout["margin"] |= {"b": LEGEND_PX}
    layout |= {
        "barmode": "relative",
        "bargap": 0.25,
        "showlegend": True,
        "legend": legend_below(),
        "xaxis": axis(
            palette,
            tickvals=list(range(len(bars))),
            ticktext=[bar.tick for bar in bars],
            range=[-0.5, len(bars) - 0.5],
            showgrid=False,
            zeroline=False,
            tickangle=0,
        ),
        "yaxis": axis(palette, **balance_ticks(bars)),
    }
    return figure(balance_traces(bars, palette), layout)


def _bar(day: date, result: DayResult | None, today: date) -> Bar:
    name = formats.day_long(day)
    tick = formats.day_short(day).replace(formats.NBSP, "<br>")
    if result is None:
        return Bar(tick if day > today else f"{tick}<br>none", name, {})
    return Bar(tick, name, result.numbers)
