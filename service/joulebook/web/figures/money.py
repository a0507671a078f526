"""The figure of money: what was bought, sold and paid, month by month."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from joulebook.summaries.numbers import Document
from joulebook.web.figures.layout import axis, base_layout, figure, legend_below
from joulebook.web.figures.palette import Palette
from joulebook.web.figures.points import Point, points_trace
from joulebook.web.region import formats
from joulebook.web.shown import Unit
from joulebook.web.words import figure_texts

_HEIGHT = 360
_MOST_TICKS = 5


def money_figure(months: Sequence[Document], unit: Unit, palette: Palette) -> dict[str, Any]:
    """Return bars of bought and fee upwards and sold downwards, and points of what was paid.

    A month whose amounts are not given is a gap.
    """
    every = -(-len(months) // _MOST_TICKS) or 1
    ticks = list(range(0, len(months), every))
    layout = base_layout(palette, height=_HEIGHT)
    layout["margin"] |= {"l": 48, "b": 100}
    layout |= {
        "barmode": "relative",
        "bargap": 0.25,
        "showlegend": True,
        "legend": legend_below(),
        "xaxis": axis(
            palette,
            tickvals=ticks,
            ticktext=[_name(months[place]).replace(formats.NBSP, "<br>") for place in ticks],
            range=[-0.5, len(months) - 0.5],
            showgrid=False,
            zeroline=False,
            tickangle=0,
        ),
        "yaxis": axis(palette, nticks=6),
    }
    return figure(
        [
            *(_bars(part, months, unit, palette) for part in _PARTS),
            _paid(months, unit, palette) | {"showlegend": True},
        ],
        layout,
    )


@dataclass(frozen=True, slots=True)
class _Part:
    number: str
    sign: int
    colour: str  # a field of the palette
    pattern: str


_PARTS = (
    _Part("fixed", 1, "loss", "x"),
    _Part("bought", 1, "grid", "."),
    _Part("sold", -1, "grid", "-"),
)


def _bars(part: _Part, months: Sequence[Document], unit: Unit, palette: Palette) -> dict[str, Any]:
    word = figure_texts.BILL[part.number]
    given = [
        (place, month)
        for place, month in enumerate(months)
        if month[part.number]["amount"] is not None
    ]
    return {
        "type": "bar",
        "name": word,
        "x": [place for place, _ in given],
        "y": [part.sign * month[part.number]["amount"] for _, month in given],
        "text": [
            f"{_name(month)}<br>{word}: {unit.text(month[part.number]['amount'])}"
            for _, month in given
        ],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "color": getattr(palette, part.colour),
            "line": {"color": palette.paper, "width": 1},
            "pattern": {
                "shape": part.pattern,
                "fillmode": "overlay",
                "fgcolor": palette.paper,
                "size": 6,
                "solidity": 0.3,
            },
        },
    }


def _paid(months: Sequence[Document], unit: Unit, palette: Palette) -> dict[str, Any]:
    points = [
        Point(
            x=place,
            value=total["amount"],
            low=total["low_amount"],
            high=total["high_amount"],
            words=f"{_name(month)}<br>{figure_texts.PAID}: {unit.text(total['amount'])}"
            f" ({unit.interval(total['low_amount'], total['high_amount'])})",
        )
        for place, month in enumerate(months)
        if (total := month["total"])["amount"] is not None
    ]
    return points_trace(points, figure_texts.PAID, palette.ink)


def _name(month: Document) -> str:
    return formats.month_short(date.fromisoformat(month["from"]))
