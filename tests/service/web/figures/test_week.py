from datetime import date

import plotly.graph_objects as go

from joulebook.core.spans import dates
from joulebook.web.figures.palette import PALETTES
from joulebook.web.figures.week import week_figure
from tests.helpers.day_results import a_day

_DAYS = list(dates(date(2026, 3, 2), date(2026, 3, 8)))
_FIGURE = week_figure(
    _DAYS,
    [a_day(_DAYS[0], 36_000.0), a_day(_DAYS[1], None)],
    PALETTES["light"],
    today=_DAYS[2],
)


def test_plotly_itself_takes_the_figure() -> None:
    assert len(go.Figure(data=_FIGURE["data"], layout=_FIGURE["layout"]).data) == 7


def test_each_day_has_its_place_whether_measured_or_not() -> None:
    assert _FIGURE["data"][0]["x"] == [0, 1, 2, 3, 4, 5, 6]
    assert _FIGURE["data"][0]["y"] == [36.0, None, None, None, None, None, None]


def test_a_day_without_numbers_says_so_unless_it_is_to_come() -> None:
    assert _FIGURE["layout"]["xaxis"]["ticktext"] == [
        "Mon<br>2",
        "Tue<br>3<br>none",
        "Wed<br>4<br>none",
        "Thu<br>5",
        "Fri<br>6",
        "Sat<br>7",
        "Sun<br>8",
    ]


def test_a_finger_on_it_scrolls_the_page() -> None:
    assert _FIGURE["layout"]["dragmode"] is False
    assert _FIGURE["layout"]["xaxis"]["fixedrange"]
    assert _FIGURE["layout"]["yaxis"]["fixedrange"]
    assert _FIGURE["config"]["displayModeBar"] is False
