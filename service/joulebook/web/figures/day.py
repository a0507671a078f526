"""The figure of a day: one strip for each part, a kilowatt being equally high in all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.web import formats, texts
from joulebook.web.figures.gaps import gap_shape, gap_words, gaps, y_axis
from joulebook.web.figures.layout import axis, base_layout, figure, nice_step, title_above
from joulebook.web.figures.palette import Palette
from joulebook.web.lines import Line

_LEAST_KW = 0.5
_TICK_PX = 24
_STRIPS_PX, _SOC_PX, _TITLE_PX, _BOTTOM_PX = 420, 90, 30, 48


@dataclass(frozen=True, slots=True)
class _Strip:
    line: Line
    title: str
    low: float
    high: float
    tick: float
    height_px: float


def day_figure(
    day: date,
    lines: Sequence[Line],
    *,
    span: Span,
    zone: ZoneInfo,
    palette: Palette,
    bucket_s: float,
    now_ms: int,
) -> dict[str, Any]:
    """Return the strips of a day, in the order of the lines.

    Parameters
    ----------
    bucket_s : float
        How long a point stands for, where a line has more readings than pixels. [s]
    now_ms : int
        What is later is no gap: it has not been. [ms, UTC epoch]
    """
    so_far = Span(span.start_ms, max(span.start_ms, min(span.end_ms, now_ms)))
    strips = _strips(lines)
    height = sum(strip.height_px + _TITLE_PX for strip in strips) + _BOTTOM_PX
    layout = base_layout(palette, height=round(height)) | {"annotations": [], "shapes": []}
    layout["margin"] |= {"t": 0, "b": _BOTTOM_PX}
    inner = height - _BOTTOM_PX
    traces: list[dict[str, Any]] = []
    top = 1.0
    for number, strip in enumerate(strips, start=1):
        top -= _TITLE_PX / inner
        bottom = max(0.0, top - strip.height_px / inner)
        layout[y_axis(number).replace("y", "yaxis")] = axis(
            palette,
            domain=[bottom, top],
            range=[strip.low, strip.high],
            dtick=strip.tick,
            anchor="x",
            # A rule across the hours that were not measured would look like a zero.
            zerolinecolor=palette.rule,
            ticksuffix="%" if strip.line.quantity == "soc" else "",
        )
        layout["annotations"].append(title_above(palette, strip.title, top))
        for gap in gaps(strip.line, so_far, bucket_s=bucket_s):
            layout["shapes"].append(gap_shape(gap, span, number=number, palette=palette))
            layout["annotations"] += gap_words(gap, span, number=number, palette=palette)
        traces.append(_trace(strip, number, span, zone, palette))
        top = bottom
    layout["xaxis"] = axis(
        palette,
        range=[0, span.length_s],
        anchor=y_axis(max(1, len(strips))),
        zeroline=False,
        title={"text": _below(lines, bucket_s), "font": {"size": 12}, "standoff": 6},
        **_hours(day, span, zone),
    )
    return figure(traces, layout)


def _below(lines: Sequence[Line], bucket_s: float) -> str:
    if any(line.thinned for line in lines):
        return f"local time; each point is the mean of {formats.fixed(bucket_s / 60, 1)} min"
    return "local time; each point is a reading"


def _strips(lines: Sequence[Line]) -> list[_Strip]:
    powers = [_extent(line) for line in lines if line.quantity == "power"]
    px_per_kw = _STRIPS_PX / max(sum(high - low for low, high in powers), _LEAST_KW)
    strips = []
    for line in lines:
        if line.quantity == "soc":
            strips.append(_Strip(line, _title(line), 0.0, 100.0, 50.0, _SOC_PX))
            continue
        low, high = _extent(line)
        tick = nice_step(_TICK_PX / px_per_kw)
        strips.append(_Strip(line, _title(line), low, high, tick, (high - low) * px_per_kw))
    return strips


def _extent(line: Line) -> tuple[float, float]:
    """Return the kilowatts that a strip must hold, zero among them, with a little air."""
    known = line.value[~np.isnan(line.value)] / 1000
    low, high = min(0.0, float(known.min(initial=0))), max(0.0, float(known.max(initial=0)))
    missing = max(0.0, _LEAST_KW - (high - low))
    return low * 1.05, high * 1.05 + missing


def _title(line: Line) -> str:
    kind = kind_of(line.device)
    word = formats.device_label(line.device)
    if line.quantity == "soc":
        return f"<b>{word}</b>, its own state of charge"
    if kind in texts.DIRECTIONS:
        above, below = texts.DIRECTIONS[kind]
        return f"<b>{word}</b>, kW (+ {above}, \N{MINUS SIGN} {below})"
    return f"<b>{word}</b>, kW"


def _trace(
    strip: _Strip, number: int, span: Span, zone: ZoneInfo, palette: Palette
) -> dict[str, Any]:
    line = strip.line
    colour = getattr(palette, kind_of(line.device), palette.loss)
    scale = 100 if line.quantity == "soc" else 1 / 1000
    unit = "%" if line.quantity == "soc" else " kW"
    digits = 0 if line.quantity == "soc" else 2
    shown = [None if np.isnan(value) else round(float(value) * scale, 3) for value in line.value]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": formats.device_label(line.device),
        "x": [round((int(at) - span.start_ms) / 1000) for at in line.at_ms],
        "y": shown,
        "text": [
            ""
            if value is None
            else f"{formats.clock(int(at), zone)}  {formats.fixed(value, digits)}{unit}"
            for at, value in zip(line.at_ms, shown, strict=True)
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "xaxis": "x",
        "yaxis": y_axis(number),
        "connectgaps": False,
        # Without a fill, for plotly would close it over a gap.
        "line": {"color": colour, "width": 1.8},
    }


def _hours(day: date, span: Span, zone: ZoneInfo) -> dict[str, Any]:
    """Return ticks every fourth hour of the site's clock, wherever a change of it puts them."""
    instants = [
        round(datetime.combine(day, time(hour), tzinfo=zone).timestamp() * 1000)
        for hour in range(0, 24, 4)
    ]
    return {
        "tickvals": [(at - span.start_ms) / 1000 for at in instants],
        "ticktext": [formats.clock_tick(at, zone) for at in instants],
    }
