"""Events in figures: where their lines stand, and which numbers share a box."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from joulebook.core.spans import Span, local_day
from joulebook.web.figures.events import among, on_dates, since, with_events
from joulebook.web.figures.layout import base_layout, figure
from joulebook.web.figures.palette import PALETTES
from joulebook.web.spans.noted import Noted

_LIGHT = PALETTES["light"]
_LISBON = ZoneInfo("Europe/Lisbon")
#: 2026-03-02T00:00:00Z, a Monday. [ms, UTC epoch]
_MONDAY_MS = 1_772_409_600_000
_HOUR_MS = 3_600_000
_WEEK = Span(_MONDAY_MS, _MONDAY_MS + 168 * _HOUR_MS)


def noted(number: int, hour: float, title: str = "Four more panels") -> Noted:
    at_ms = _MONDAY_MS + round(hour * _HOUR_MS)
    return Noted(number, at_ms, title, "2 March 2026 12:00 WET", "panels", "")


def drawn(*events: Noted) -> Any:
    plain = figure([], base_layout(_LIGHT, height=300))
    return with_events(plain, events, since(_WEEK), span=_WEEK, palette=_LIGHT)["layout"]


def test_a_figure_without_events_is_as_it_was() -> None:
    plain = figure([], base_layout(_LIGHT, height=300))
    assert with_events(plain, [], since(_WEEK), span=_WEEK, palette=_LIGHT) is plain


def test_an_event_is_a_line_with_its_number_on_top() -> None:
    layout = drawn(noted(1, 12))
    assert layout["shapes"] == [
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": 43_200.0,  # twelve hours in seconds
            "x1": 43_200.0,
            "y0": 0,
            "y1": 1,
            "line": {"color": _LIGHT.ink, "width": 1, "dash": "2px,3px"},
        }
    ]
    (box,) = layout["annotations"]
    assert (box["text"], box["x"], box["y"]) == ("<b>1</b>", 43_200.0, 1)
    assert box["hovertext"] == "<b>1</b> Four more panels<br>2 March 2026 12:00 WET, panels"


def test_what_was_there_stays_and_the_numbers_have_room_above_it() -> None:
    layout = base_layout(_LIGHT, height=300) | {"shapes": ["gap"], "annotations": ["words"]}
    marked = with_events(
        figure([], layout), [noted(1, 12)], since(_WEEK), span=_WEEK, palette=_LIGHT
    )["layout"]
    assert marked["shapes"][0] == "gap"
    assert marked["annotations"][0] == "words"
    assert marked["height"] - 300 == marked["margin"]["t"] - layout["margin"]["t"] > 0
    assert layout["height"] == 300  # and the figure that was given is not changed


def test_numbers_that_would_touch_share_a_box_and_every_line_stays() -> None:
    # Six per cent of a week are ten hours.
    layout = drawn(noted(1, 10), noted(2, 19), noted(3, 21), noted(4, 22), noted(5, 23))
    boxes = layout["annotations"]
    assert [box["text"] for box in boxes] == ["<b>1, 2</b>", "<b>3\N{EN DASH}5</b>"]
    assert boxes[1]["hovertext"].count("Four more panels") == 3
    assert len(layout["shapes"]) == 5


def test_what_the_owner_wrote_is_no_tag() -> None:
    (box,) = drawn(noted(1, 1, title="<b>4 < 5 & 6</b>"))["annotations"]
    assert "&lt;b&gt;4 &lt; 5 &amp; 6&lt;/b&gt;" in box["hovertext"]


@pytest.mark.parametrize(
    ("hour", "place"),
    [
        (0, -0.5),  # the left edge of Monday's bar
        (12, 0.0),  # its middle
        (36, 1.0),
        (167.99, 6.4996),
        (200, 6.5),  # after all of them: the figure's right edge
        (-1, -0.5),  # before all of them: its left edge
    ],
)
def test_among_bars_the_middle_of_a_day_is_the_middle_of_its_bar(hour: float, place: float) -> None:
    days = [local_day(date(2026, 3, 2 + number), _LISBON) for number in range(7)]
    assert among(days)(_MONDAY_MS + round(hour * _HOUR_MS)) == pytest.approx(place, abs=1e-4)


def test_between_two_bars_it_stands_between_them() -> None:
    spans = [Span(0, 100), Span(200, 300)]
    assert [among(spans)(at_ms) for at_ms in (150, 200)] == [0.5, 0.5]


def test_a_day_that_the_clocks_skipped_has_no_width() -> None:
    assert among([Span(0, 100), Span(100, 100), Span(100, 200)])(100) == 1.5


def test_dates_are_those_of_the_site() -> None:
    # 2026-07-14T23:30:00Z is half past midnight in Lisbon's summer.
    assert on_dates(_LISBON)(1_784_071_800_000) == "2026-07-15T00:30"
