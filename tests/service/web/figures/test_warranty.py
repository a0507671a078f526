from typing import Any

import plotly.graph_objects as go
import pytest

from joulebook.web.figures.palette import PALETTES
from joulebook.web.figures.warranty import warranty_figure


def fan_point(day: str, middle: float) -> dict[str, Any]:
    levels = {"p5": -0.06, "p10": -0.04, "p50": 0.0, "p90": 0.03, "p95": 0.04}
    return {"date": day, **{f"{name}_ratio": middle + by for name, by in levels.items()}}


def wear(**terms: Any) -> dict[str, Any]:
    known = {"date": "2026-01-05", "ah": 198.0, "low_ah": 194.0, "high_ah": 202.0}
    return {
        "warranty": {
            "floor_ratio": 0.7,
            "expected_ratio": 0.86,
            "fan": [fan_point("2027-01-05", 0.97), fan_point("2036-01-05", 0.86)],
            **terms,
        },
        "capacity": [known, {"date": "2026-03-05", "ah": None}],
    }


def test_plotly_itself_takes_the_figure() -> None:
    drawn = warranty_figure(wear(), PALETTES["dark"], rated_ah=200.0)
    assert len(go.Figure(data=drawn["data"], layout=drawn["layout"]).data) == 6


def test_each_level_is_a_line_and_pairs_share_their_dashes() -> None:
    lines = warranty_figure(wear(), PALETTES["light"], rated_ah=200.0)["data"][:5]
    assert [line["y"][-1] for line in lines] == pytest.approx([80, 82, 86, 89, 90])
    assert [line["line"]["dash"] for line in lines] == ["dot", "dash", "solid", "dash", "dot"]
    named = [line["name"] for line in lines if line["showlegend"]]
    assert named == ["50 of 100", "10 and 90", "5 and 95"]
    assert lines[0]["text"][0].replace("\u00a0", " ") == "5 Jan 2027<br>5 of 100 lie below 91.0 %"
    # #0072B2 in decimal: 0, 114, 178.
    assert lines[1]["fillcolor"] == "rgba(0,114,178,0.18)"


def test_what_was_measured_is_a_share_of_the_rated_charge() -> None:
    points = warranty_figure(wear(), PALETTES["light"], rated_ah=200.0)["data"][-1]
    assert points["y"] == pytest.approx([99.0])
    assert points["error_y"]["array"] == pytest.approx([2.0])
    without = warranty_figure(wear(), PALETTES["light"], rated_ah=None)["data"]
    assert "measured" not in [line["name"] for line in without]


def test_no_middle_is_drawn_where_none_is_given() -> None:
    drawn = warranty_figure(wear(expected_ratio=None), PALETTES["light"], rated_ah=None)
    assert [line["line"]["dash"] for line in drawn["data"]] == ["dot", "dash", "dash", "dot"]


def test_the_floor_is_a_line_where_one_is_promised() -> None:
    promised = warranty_figure(wear(), PALETTES["light"], rated_ah=None)["layout"]
    assert promised["shapes"][0]["y0"] == 70.0
    none = warranty_figure(wear(floor_ratio=None), PALETTES["light"], rated_ah=None)["layout"]
    assert "shapes" not in none
