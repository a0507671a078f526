"""The figure of a start: the load and its legs, and below it what the battery's voltage did."""

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from joulebook.core.checks.inputs import Readings
from joulebook.web.figures.layout import axis, base_layout, figure, title_above
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.words import figure_texts

_HEIGHT_PX = 420
#: Where the strips end, as shares of the figure's height.
_LOAD, _VOLTAGE = (0.44, 0.93), (0.0, 0.32)
#: Each line has its own dashes: colour alone tells nothing.
_LINES = {
    "load": ("W", "solid"),
    "L1": ("W", "dash"),
    "L2": ("W", "dot"),
    "voltage": ("V", "solid"),
}


def start_figure(
    lines: Mapping[str, Readings], at_ms: int, *, zone: ZoneInfo, palette: Palette
) -> dict[str, Any]:
    """Return the figure; minutes count from the last reading before the start.

    Parameters
    ----------
    lines : mapping of ``load``, ``L1``, ``L2`` and ``voltage`` to instants and readings
        Those that were read. [W, V]
    """
    legs = figure_texts.START_LEGS if "L1" in lines else ""
    layout = base_layout(palette, height=_HEIGHT_PX) | {
        "xaxis": axis(
            palette,
            anchor="y2" if "voltage" in lines else "y",
            zeroline=True,
            title={"text": figure_texts.START_AXIS, "font": {"size": 12}, "standoff": 6},
        ),
        "yaxis": axis(palette, domain=_LOAD, rangemode="tozero"),
        "annotations": [title_above(palette, figure_texts.START_LOAD.format(legs=legs), _LOAD[1])],
    }
    layout["margin"] |= {"l": 48, "t": 0, "b": 48}
    if "voltage" in lines:
        layout["yaxis2"] = axis(palette, domain=_VOLTAGE, anchor="x")
        layout["annotations"].append(title_above(palette, figure_texts.START_VOLTAGE, _VOLTAGE[1]))
    return figure(
        [_trace(name, lines[name], at_ms, zone, palette) for name in _LINES if name in lines],
        layout,
    )


def _trace(
    name: str, readings: Readings, at_ms: int, zone: ZoneInfo, palette: Palette
) -> dict[str, Any]:
    word, (unit, dash) = figure_texts.START[name], _LINES[name]
    when, value = readings
    digits = 2 if unit == "V" else 0
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": word,
        "x": [round((int(each) - at_ms) / 60_000, 3) for each in when],
        "y": [round(float(each), digits) for each in value],
        "text": [
            f"{formats.clock(int(at), zone)}  {word} {formats.fixed(float(each), digits)} {unit}"
            for at, each in zip(when, value, strict=True)
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "xaxis": "x",
        "yaxis": "y2" if unit == "V" else "y",
        "marker": {"size": 5, "color": palette.battery if unit == "V" else palette.load},
        "line": {
            "color": palette.battery if unit == "V" else palette.load,
            "width": 1.8,
            "dash": dash,
        },
    }
