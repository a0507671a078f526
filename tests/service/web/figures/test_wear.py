from typing import Any

import plotly.graph_objects as go

from joulebook.summaries.page_documents import Night
from joulebook.web.figures.palette import PALETTES
from joulebook.web.figures.wear import capacity_figure, depths_figure
from joulebook.web.words.wear_rows import depth_words


def night(full: str, ah: float | None, *, counts: bool) -> Night:
    return Night(
        full=full,
        low=None,
        drawn_ah=150.0,
        correction_ah=None,
        cell_v=None,
        state_ratio=None,
        temperature_c=None,
        ah=ah,
        low_ah=190.0,
        high_ah=202.0,
        counts=counts,
        reason=None,
    )


def point(day: str, ah: float | None) -> dict[str, Any]:
    return {"date": day, "ah": ah, "low_ah": 194.0, "high_ah": 199.0}


WEAR = {"capacity": [point("2026-01-05", 196.5), point("2026-03-06", None)]}
NIGHTS = [
    night("2026-01-05T18:00+00:00", 196.0, counts=True),
    night("2026-01-06T18:00+00:00", 170.0, counts=False),
    night("2026-01-07T18:00+00:00", None, counts=False),
]
BINS = [
    {"from_ratio": 0.0, "to_ratio": 0.1, "count": 3.5},
    {"from_ratio": 0.1, "to_ratio": 0.2, "count": 0.0},
]


def drawn(rated_ah: float | None) -> dict[str, Any]:
    return capacity_figure(WEAR, NIGHTS, PALETTES["light"], rated_ah=rated_ah, width=340)


def test_plotly_itself_takes_the_figures() -> None:
    for each in (drawn(200.0), depths_figure(BINS, PALETTES["dark"])):
        assert go.Figure(data=each["data"], layout=each["layout"]).data


def test_only_nights_that_count_are_dots() -> None:
    nights, points = drawn(200.0)["data"]
    assert (nights["x"], nights["y"]) == (["2026-01-05"], [196.0])
    assert (points["x"], points["y"]) == (["2026-01-05"], [196.5])
    # Colour never alone: circles and diamonds.
    assert (nights["marker"]["symbol"], points["marker"]["symbol"]) == ("circle-open", "diamond")


def test_many_nights_are_two_a_pixel_and_none_of_the_extremes_is_lost() -> None:
    # Ten years of nights at 190 to 199 Ah, and of each hundred one at 150 and one at 210.
    def ah(number: int) -> float:
        return {3: 150.0, 77: 210.0}.get(number % 100, 190.0 + number % 10)

    many = [
        night(f"{2017 + number // 360}-01-{number % 28 + 1:02}", ah(number), counts=True)
        for number in range(3600)
    ]
    figure = capacity_figure(WEAR, many, PALETTES["light"], rated_ah=None, width=352)
    shown = figure["data"][0]["y"]
    assert len(shown) <= 2 * 300  # of 352 pixels, 52 are margins
    assert (shown.count(150.0), shown.count(210.0)) == (36, 36)
    # Of each pixel's twelve nights the lowest and the highest, in their order.
    assert shown[:2] == [ah(3), ah(9)]
    few = capacity_figure(WEAR, many[:600], PALETTES["light"], rated_ah=None, width=352)
    assert len(few["data"][0]["y"]) == 600


def test_the_rated_charge_is_a_line_where_it_is_known() -> None:
    known = drawn(200.0)["layout"]
    assert known["shapes"][0]["y0"] == 200.0
    assert known["annotations"][0]["text"] == "rated"
    assert "shapes" not in drawn(None)["layout"]


def test_depths_are_bars_with_words() -> None:
    bars = depths_figure(BINS, PALETTES["light"])["data"][0]
    assert bars["y"] == [3.5, 0.0]
    assert bars["text"][0].replace("\u00a0", " ") == "0\N{EN DASH}10 %<br>3.5 cycles"
    assert depth_words(BINS[1]).replace("\u00a0", " ") == "10\N{EN DASH}20 %"
