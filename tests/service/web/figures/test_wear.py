from typing import Any

import plotly.graph_objects as go

from joulebook.web.figures.palette import PALETTES
from joulebook.web.figures.wear import capacity_figure, depth_words, depths_figure


def night(full: str, ah: float | None, *, counts: bool) -> dict[str, Any]:
    return {"full": full, "ah": ah, "low_ah": 190.0, "high_ah": 202.0, "counts": counts}


def point(day: str, ah: float | None) -> dict[str, Any]:
    return {"date": day, "ah": ah, "low_ah": 194.0, "high_ah": 199.0}


WEAR = {
    "nights": {
        "list": [
            night("2026-01-05T18:00+00:00", 196.0, counts=True),
            night("2026-01-06T18:00+00:00", 170.0, counts=False),
            night("2026-01-07T18:00+00:00", None, counts=False),
        ]
    },
    "capacity": [point("2026-01-05", 196.5), point("2026-03-06", None)],
}
BINS = [
    {"from_ratio": 0.0, "to_ratio": 0.1, "count": 3.5},
    {"from_ratio": 0.1, "to_ratio": 0.2, "count": 0.0},
]


def test_plotly_itself_takes_the_figures() -> None:
    for drawn in (
        capacity_figure(WEAR, PALETTES["light"], rated_ah=200.0),
        depths_figure(BINS, PALETTES["dark"]),
    ):
        assert go.Figure(data=drawn["data"], layout=drawn["layout"]).data


def test_only_nights_that_count_are_dots() -> None:
    nights, points = capacity_figure(WEAR, PALETTES["light"], rated_ah=200.0)["data"]
    assert (nights["x"], nights["y"]) == (["2026-01-05"], [196.0])
    assert (points["x"], points["y"]) == (["2026-01-05"], [196.5])
    # Colour never alone: circles and diamonds.
    assert (nights["marker"]["symbol"], points["marker"]["symbol"]) == ("circle-open", "diamond")


def test_the_rated_charge_is_a_line_where_it_is_known() -> None:
    known = capacity_figure(WEAR, PALETTES["light"], rated_ah=200.0)["layout"]
    assert known["shapes"][0]["y0"] == 200.0
    assert known["annotations"][0]["text"] == "rated"
    assert "shapes" not in capacity_figure(WEAR, PALETTES["light"], rated_ah=None)["layout"]


def test_depths_are_bars_with_words() -> None:
    bars = depths_figure(BINS, PALETTES["light"])["data"][0]
    assert bars["y"] == [3.5, 0.0]
    assert bars["text"][0].replace("\u00a0", " ") == "0\N{EN DASH}10 %<br>3.5 cycles"
    assert depth_words(BINS[1]).replace("\u00a0", " ") == "10\N{EN DASH}20 %"
