"""Where nothing was measured: a shade behind the line, and words where they fit."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from joulebook.core.spans import Span
from joulebook.web.figures.layout import FONT
from joulebook.web.figures.palette import Palette
from joulebook.web.series.lines import Line
from joulebook.web.series.thinning import GAP_MS
from joulebook.web.words import figure_texts

#: A gap of this share of the figure's width has room for the words.
_ROOM_RATIO = 0.3


def gaps(line: Line, span: Span) -> Iterator[Span]:
    """Yield the parts of a span in which a line has no points; ``span`` ends now at the latest."""
    known_ms = line.at_ms[~np.isnan(line.value)]
    if known_ms.size == 0:
        yield span
        return
    edges = [(span.start_ms, int(known_ms[0])), (int(known_ms[-1]), span.end_ms)]
    for start_ms, end_ms in edges:
        if end_ms - start_ms > GAP_MS:
            yield Span(start_ms, end_ms)
    for broken_ms in line.at_ms[np.isnan(line.value)]:
        place = int(np.searchsorted(known_ms, broken_ms))
        # The line may have been read from a little outside of the span.
        start_ms = max(span.start_ms, int(known_ms[place - 1]))
        yield Span(start_ms, max(start_ms, min(span.end_ms, int(known_ms[place]))))


def gap_shape(gap: Span, span: Span, *, number: int, palette: Palette) -> dict[str, Any]:
    """Return the shade of a gap over the whole height of strip ``number``."""
    return {
        "type": "rect",
        "layer": "below",
        "xref": "x",
        "yref": f"{y_axis(number)} domain",
        "x0": (gap.start_ms - span.start_ms) / 1000,
        "x1": (gap.end_ms - span.start_ms) / 1000,
        "y0": 0,
        "y1": 1,
        "fillcolor": palette.shade,
        "line": {"width": 0},
    }


def gap_words(gap: Span, span: Span, *, number: int, palette: Palette) -> list[dict[str, Any]]:
    """Return the words in a gap that is wide enough for them, as annotations."""
    if gap.length_s < _ROOM_RATIO * span.length_s:
        return []
    return [
        {
            "text": figure_texts.GAP,
            "xref": "x",
            "yref": f"{y_axis(number)} domain",
            "x": (gap.start_ms + gap.end_ms - 2 * span.start_ms) / 2000,
            "y": 0.5,
            "showarrow": False,
            "font": {"family": FONT, "size": 12, "color": palette.ink},
        }
    ]


def y_axis(number: int) -> str:
    """Return plotly's name of the y axis of strip ``number``, from 1."""
    return "y" if number == 1 else f"y{number}"
