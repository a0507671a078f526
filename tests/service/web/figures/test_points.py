import pytest

from joulebook.web.figures.points import Point, points_trace


def test_a_point_has_its_interval_on_both_sides() -> None:
    drawn = points_trace(
        [Point("2026-01-05", 5.0, 4.0, 7.0, "five")], "Five", "#000000", yaxis="y2"
    )
    assert drawn["x"] == ["2026-01-05"]
    assert drawn["y"] == [5.0]
    assert drawn["error_y"]["array"] == pytest.approx([2.0])
    assert drawn["error_y"]["arrayminus"] == pytest.approx([1.0])
    assert (drawn["text"], drawn["yaxis"]) == (["five"], "y2")
