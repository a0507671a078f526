from dataclasses import replace
from datetime import date

import plotly.graph_objects as go
import pytest

from joulebook.core.estimate import Estimate
from joulebook.storage.records import Site
from joulebook.web.figures.months import months_figure
from joulebook.web.figures.palette import PALETTES
from joulebook.web.spans.months import Month, months_of
from tests.helpers.day_results import a_day
from tests.helpers.pages import NOW_MS


def fourteen_months() -> tuple[Month, ...]:
    """Return January 2025 to February 2026; only in the second is the round trip known."""
    site = Site(id=1, name="studio", timezone="Europe/Lisbon")
    days = [a_day(date(2025, 1, 1), 36_000.0), a_day(date(2026, 2, 28), 18_000.0)]
    months = months_of(site, days, readings=None, now_ms=NOW_MS)
    known = Estimate(value=0.92, low=0.9, high=0.95, coverage_ratio=1, method="test-1")
    return (months[0], replace(months[1], round_trip=known), *months[2:])


def test_plotly_itself_takes_the_figure() -> None:
    drawn = months_figure(fourteen_months(), PALETTES["dark"])
    assert len(go.Figure(data=drawn["data"], layout=drawn["layout"]).data) == 8


def test_no_months_are_an_empty_figure() -> None:
    drawn = months_figure((), PALETTES["light"])
    assert drawn["data"][0]["y"] == []
    assert drawn["layout"]["xaxis"]["ticktext"] == []


def test_a_few_months_are_named_below() -> None:
    axis = months_figure(fourteen_months(), PALETTES["light"])["layout"]["xaxis"]
    assert axis["tickvals"] == [0, 3, 6, 9, 12]
    assert axis["ticktext"][:2] == ["Jan<br>2025", "Apr<br>2025"]


def test_a_round_trip_has_its_interval_and_one_that_is_refused_no_point() -> None:
    trace = months_figure(fourteen_months(), PALETTES["light"])["data"][-1]
    assert trace["x"] == [1]
    assert trace["y"] == [92.0]
    # By hand: 95 - 92 above, 92 - 90 below.
    assert trace["error_y"]["array"] == pytest.approx([3.0])
    assert trace["error_y"]["arrayminus"] == pytest.approx([2.0])
    assert trace["text"] == ["February 2025<br>92.0\N{NO-BREAK SPACE}% (90.0\N{EN DASH}95.0)"]
