from typing import Any

import plotly.graph_objects as go

from joulebook.web.figures.efficiency import efficiency_figure
from joulebook.web.figures.palette import PALETTES


def quarter(first: str, last: str, ratio: float | None) -> dict[str, Any]:
    low, high = (None, None) if ratio is None else (ratio - 0.01, ratio + 0.01)
    return {"from": first, "to": last, "ratio": ratio, "low_ratio": low, "high_ratio": high}


REPORT = {
    "record": {"to": "2026-08-15"},
    "quarters": [
        quarter("2026-01-01", "2026-03-31", 0.95),
        quarter("2026-04-01", "2026-06-30", None),
        quarter("2026-07-01", "2026-09-30", 0.94),
    ],
}


def test_plotly_itself_takes_the_figure() -> None:
    drawn = efficiency_figure(REPORT, PALETTES["dark"])
    assert len(go.Figure(data=drawn["data"], layout=drawn["layout"]).data) == 1


def test_a_quarter_is_a_point_and_one_that_is_refused_a_gap() -> None:
    drawn = efficiency_figure(REPORT, PALETTES["light"])
    assert drawn["data"][0]["x"] == [0, 2]
    assert drawn["data"][0]["y"] == [95.0, 94.0]
    assert drawn["layout"]["xaxis"]["ticktext"] == [
        f"{months}<br>2026"
        for months in ("Jan\N{EN DASH}Mar", "Apr\N{EN DASH}Jun", "Jul\N{EN DASH}Sep")
    ]


def test_a_quarter_that_is_not_over_ends_with_the_record() -> None:
    words = efficiency_figure(REPORT, PALETTES["light"])["data"][0]["text"][1]
    assert words.replace("\u00a0", " ") == (
        "1 Jul 2026 to 15 Aug 2026<br>94.0 % (93.0\N{EN DASH}95.0)"
    )


def test_no_quarter_is_an_empty_figure() -> None:
    assert efficiency_figure({"quarters": []}, PALETTES["light"])["data"][0]["y"] == []
