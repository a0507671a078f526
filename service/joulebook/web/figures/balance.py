"""Bars of where energy came from (upwards) and where it went (downwards)."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from joulebook.core.estimate import Estimate
from joulebook.web.figures.layout import nice_step
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.words import figure_texts, texts


@dataclass(frozen=True, slots=True)
class Bar:
    """One column of the figure: what stands below it, what it is called, its numbers. [Wh]"""

    tick: str
    name: str
    numbers: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True)
class _Part:
    number: str
    colour: str  # a field of the palette
    pattern: str
    sign: int


# From the line outwards, both sides in turn, so that the legend pairs them. The pattern tells
# what flows in from what flows out where the colour is the same, and all of them without colour.
_PARTS = (
    _Part("pv_wh", "pv", "", 1),
    _Part("load_wh", "load", "", -1),
    _Part("battery_discharge_wh", "battery", "/", 1),
    _Part("battery_charge_wh", "battery", "\\", -1),
    _Part("grid_import_wh", "grid", ".", 1),
    _Part("grid_export_wh", "grid", "-", -1),
    _Part("loss_wh", "loss", "x", -1),
)


def balance_traces(bars: Sequence[Bar], palette: Palette) -> list[dict[str, Any]]:
    """Return one trace a part; a number that is not given is a gap, not a bar of height zero."""
    return [_trace(part, bars, palette) for part in _PARTS]


def balance_ticks(bars: Sequence[Bar]) -> dict[str, Any]:
    """Return the ticks of the axis, unsigned on both sides: down is a direction, not a minus."""
    up, down = (max((_height(bar, sign) for bar in bars), default=0.0) for sign in (1, -1))
    step = nice_step(max(up, down, 0.1) / 3)
    places = [step * number for number in range(-math.ceil(down / step), math.ceil(up / step) + 1)]
    digits = max(0, -math.floor(math.log10(step)))
    return {
        "tickvals": places,
        "ticktext": [formats.fixed(abs(place), digits) for place in places],
    }


def _trace(part: _Part, bars: Sequence[Bar], palette: Palette) -> dict[str, Any]:
    values = [_kwh(bar, part.number) for bar in bars]
    colour = getattr(palette, part.colour)
    return {
        "type": "bar",
        "name": figure_texts.BALANCE[part.number],
        "x": list(range(len(bars))),
        "y": [None if value is None else part.sign * value for value in values],
        "text": [_words(bar, part.number) for bar in bars],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "color": colour,
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


def _words(bar: Bar, number: str) -> str:
    estimate = bar.numbers.get(number)
    value = None if estimate is None else estimate.value
    return f"{bar.name}<br>{texts.LABELS[number]}: {formats.kwh_words(value)}"


def _kwh(bar: Bar, number: str) -> float | None:
    estimate = bar.numbers.get(number)
    return None if estimate is None or estimate.value is None else estimate.value / 1000


def _height(bar: Bar, sign: int) -> float:
    values = [_kwh(bar, part.number) for part in _PARTS if part.sign == sign]
    return sum(value for value in values if value is not None)
