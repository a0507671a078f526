"""The figure of a day or a part of it: strips in which a kilowatt is equally high."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.web.figures.gaps import gap_shape, gap_words, gaps, y_axis
from joulebook.web.figures.layout import axis, base_layout, figure, nice_step, title_above
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.series.lines import Line
from joulebook.web.words import figure_texts, texts

_LEAST_KW = 0.5
_TICK_MINUTES = (1, 2, 5, 10, 15, 30, 60, 120, 240, 1440)
_MOST_TICKS = 6.5
#: Of a part so short, seconds are told too. [s]
_WITH_SECONDS_S = 3 * 3600
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
    pixel_s: float,
    now_ms: int,
) -> dict[str, Any]:
    """Return the strips of a day, in the order of the lines.

    Parameters
    ----------
    lines : sequence of Line
        Points of the span; also of a device that was silent in it, so that strips stay in place.
    span : Span
        The day, or a part of it.
    pixel_s : float
        How long a pixel is. [s]
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
    clock = _Clock(zone, with_seconds=span.length_s <= _WITH_SECONDS_S)
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
        for gap in gaps(strip.line, so_far):
            layout["shapes"].append(gap_shape(gap, span, number=number, palette=palette))
            layout["annotations"] += gap_words(gap, span, number=number, palette=palette)
        traces.append(_trace(strip, number, span, clock, palette))
        top = bottom
    layout["xaxis"] = axis(
        palette,
        range=[0, span.length_s],
        anchor=y_axis(max(1, len(strips))),
        zeroline=False,
        title={"text": _below(lines, pixel_s), "font": {"size": 12}, "standoff": 6},
        **_ticks(day, span, zone),
    )
    return figure(traces, layout)


def _below(lines: Sequence[Line], pixel_s: float) -> str:
    if any(line.thinned for line in lines):
        length = (
            f"{formats.fixed(pixel_s / 60, 1)} min"
            if pixel_s >= 60
            else f"{formats.fixed(pixel_s, 0)} s"
        )
        return figure_texts.DAY_THINNED.format(length=length)
    return figure_texts.DAY_EACH


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
        return figure_texts.DAY_SOC.format(device=word)
    if kind in texts.DIRECTIONS:
        above, below = texts.DIRECTIONS[kind]
        return f"<b>{word}</b>, kW (+ {above}, \N{MINUS SIGN} {below})"
    return f"<b>{word}</b>, kW"


class _Clock:
    """Says what the clocks show at a reading; many readings share a minute."""

    def __init__(self, zone: ZoneInfo, *, with_seconds: bool) -> None:
        self._zone = zone
        self._with_seconds = with_seconds
        self._minutes: dict[int, str] = {}

    def __call__(self, at_ms: int) -> str:
        minute = at_ms // 60_000
        text = self._minutes.get(minute)
        if text is None:
            text = self._minutes[minute] = formats.clock(at_ms, self._zone)
        return f"{text} {at_ms // 1000 % 60:02} s" if self._with_seconds else text


def _trace(
    strip: _Strip, number: int, span: Span, clock: _Clock, palette: Palette
) -> dict[str, Any]:
    line = strip.line
    is_level = line.quantity == "soc"
    shown = np.round(line.value * (100 if is_level else 1 / 1000), 3).tolist()
    at_ms = line.at_ms.tolist()
    return {
        "type": "scatter",
        "mode": "lines",
        "name": formats.device_label(line.device),
        "x": ((line.at_ms - span.start_ms) / 1000).round().astype(np.int64).tolist(),
        # NaN is no number of JSON.
        "y": [None if value != value else value for value in shown],
        "text": [clock(at) for at in at_ms],
        "hovertemplate": f"%{{text}}  %{{y:{'.0f' if is_level else '.2f'}}}"
        f"{'%' if is_level else ' kW'}<extra></extra>",
        "xaxis": "x",
        "yaxis": y_axis(number),
        "connectgaps": False,
        # Without a fill, for plotly would close it over a gap.
        "line": {"color": getattr(palette, kind_of(line.device), palette.loss), "width": 1.8},
    }


def _ticks(day: date, span: Span, zone: ZoneInfo) -> dict[str, Any]:
    """Return ticks at whole hours or minutes of the site's clock, wherever a change puts them."""
    step = next(each for each in _TICK_MINUTES if each * 60 >= span.length_s / _MOST_TICKS)
    instants = []
    for minute in range(0, 1440, step):
        shown = time(minute // 60, minute % 60)
        at = datetime.combine(day, shown, tzinfo=zone)
        at_ms = round(at.astimezone(UTC).timestamp() * 1000)
        # A time that the clocks skip stands for another one.
        is_shown = datetime.fromtimestamp(at_ms / 1000, tz=zone).time() == shown
        if is_shown and span.start_ms <= at_ms <= span.end_ms:
            instants.append(at_ms)
    return {
        "tickvals": [(at - span.start_ms) / 1000 for at in instants],
        "ticktext": [formats.clock_tick(at, zone) for at in instants],
    }
