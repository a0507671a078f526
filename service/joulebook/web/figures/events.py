"""Where something was changed: a thin line through a figure, and its number on top.

The list below the figure says what the numbers stand for, also without scripts.
"""

import html
from bisect import bisect_right
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from joulebook.core.spans import Span
from joulebook.web.figures.layout import FONT
from joulebook.web.figures.palette import Palette
from joulebook.web.region import formats
from joulebook.web.spans.noted import Noted

#: Room for the numbers above a figure. [px]
_NUMBERS_PX = 24
#: Two numbers closer than this share of the width stand in one box.
_ROOM_RATIO = 0.06

#: Returns where an instant [ms, UTC epoch] lies along a figure's x axis.
Place = Callable[[int], float | str]


def with_events(
    figure: dict[str, Any], noted: Sequence[Noted], place: Place, *, span: Span, palette: Palette
) -> dict[str, Any]:
    """Return the figure with the events' lines and numbers; as it is where there are none.

    Parameters
    ----------
    noted : sequence of Noted
        In order of time.
    span : Span
        What the width of the figure stands for, about.
    """
    if not noted:
        return figure
    layout = dict(figure["layout"])
    layout["height"] += _NUMBERS_PX
    layout["margin"] = layout["margin"] | {"t": layout["margin"]["t"] + _NUMBERS_PX}
    lines = [_line(place(each.at_ms), palette) for each in noted]
    layout["shapes"] = [*layout.get("shapes", []), *lines]
    boxes = [_box(group, place, palette) for group in _groups(noted, span)]
    layout["annotations"] = [*layout.get("annotations", []), *boxes]
    return figure | {"layout": layout}


def since(span: Span) -> Place:
    """Return places on an axis of seconds since the start of a span."""
    return lambda at_ms: (at_ms - span.start_ms) / 1000


def among(spans: Sequence[Span]) -> Place:
    """Return places on an axis of bars, each half a unit wide to both sides of its number.

    Parameters
    ----------
    spans : sequence of Span
        What each bar stands for, in order. An instant between two stands between their bars,
        one before all or after all at the figure's edge.
    """
    starts = [each.start_ms for each in spans]

    def place(at_ms: int) -> float:
        number = bisect_right(starts, at_ms) - 1
        if number < 0:
            return -0.5
        span = spans[number]
        part = (at_ms - span.start_ms) / max(1, span.end_ms - span.start_ms)
        return round(number - 0.5 + min(1.0, part), 4)

    return place


def on_dates(zone: ZoneInfo) -> Place:
    """Return places on an axis of local dates."""
    return lambda at_ms: f"{datetime.fromtimestamp(at_ms / 1000, tz=zone):%Y-%m-%dT%H:%M}"


def _groups(noted: Sequence[Noted], span: Span) -> list[list[Noted]]:
    room_ms = _ROOM_RATIO * (span.end_ms - span.start_ms)
    groups: list[list[Noted]] = []
    for each in noted:
        if groups and each.at_ms - groups[-1][0].at_ms < room_ms:
            groups[-1].append(each)
        else:
            groups.append([each])
    return groups


def _line(x: float | str, palette: Palette) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "x",
        "yref": "paper",
        "x0": x,
        "x1": x,
        "y0": 0,
        "y1": 1,
        "line": {"color": palette.ink, "width": 1, "dash": "2px,3px"},
    }


def _box(group: Sequence[Noted], place: Place, palette: Palette) -> dict[str, Any]:
    first, last = group[0].number, group[-1].number
    between = "" if len(group) == 1 else (", " if len(group) == 2 else formats.DASH) + str(last)
    return {
        "text": f"<b>{first}{between}</b>",
        "hovertext": "<br>".join(_words(each) for each in group),
        "captureevents": True,
        "xref": "x",
        "yref": "paper",
        "x": place(group[0].at_ms),
        "y": 1,
        "yanchor": "bottom",
        "yshift": 2,
        "showarrow": False,
        "borderpad": 2,
        "borderwidth": 1,
        "bordercolor": palette.ink,
        "bgcolor": palette.paper,
        "font": {"family": FONT, "size": 12, "color": palette.ink},
    }


def _words(each: Noted) -> str:
    # Plotly reads tags in texts, and what the owner wrote holds none.
    return (
        f"<b>{each.number}</b> {html.escape(each.title, quote=False)}<br>{each.when}, {each.kind}"
    )
