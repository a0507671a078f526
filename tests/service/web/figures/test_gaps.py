import numpy as np
import plotly.graph_objects as go

from joulebook.core.spans import Span
from joulebook.web.figures.gaps import gap_shape, gap_words, gaps
from joulebook.web.figures.palette import PALETTES
from joulebook.web.series.lines import Line

_MINUTE_MS = 60_000
_HOUR = Span(0, 60 * _MINUTE_MS)
_LIGHT = PALETTES["light"]


def gaps_of(minutes: list[int], span: Span = _HOUR) -> list[tuple[float, float]]:
    """Return the gaps, in minutes, of a line that was drawn of readings at some minutes."""
    at_ms = np.array(minutes, dtype=np.int64) * _MINUTE_MS
    line = Line("pv", "power", at_ms, np.ones(len(minutes))).points(span, 30)
    return sorted((gap.start_ms / _MINUTE_MS, gap.end_ms / _MINUTE_MS) for gap in gaps(line, span))


def test_readings_close_enough_leave_no_gap() -> None:
    assert gaps_of(list(range(0, 60, 5))) == []


def test_a_gap_reaches_from_one_reading_to_the_next() -> None:
    assert gaps_of([0, 5, 20, 25, 40, 45, 50, 55, 59]) == [(5, 20), (25, 40)]


def test_gaps_at_both_ends() -> None:
    assert gaps_of([20, 25, 30]) == [(0, 20), (30, 60)]


def test_a_gap_across_the_edge_of_a_part_is_cut_there() -> None:
    # Readings at 20 and 40 lie around the part from 25 to 50; that at 20 is the nearest before it.
    assert gaps_of([10, 15, 20, 40, 45], Span(25 * _MINUTE_MS, 50 * _MINUTE_MS)) == [(25, 40)]


def test_without_a_point_all_is_a_gap() -> None:
    assert gaps_of([]) == [(0, 60)]


def test_plotly_itself_takes_the_shade_and_the_words() -> None:
    gap = Span(0, 30 * _MINUTE_MS)
    layout = {
        "shapes": [gap_shape(gap, _HOUR, number=2, palette=_LIGHT)],
        "annotations": gap_words(gap, _HOUR, number=1, palette=_LIGHT),
    }
    drawn = go.Layout(layout)
    assert drawn.shapes[0].yref == "y2 domain"
    assert (drawn.shapes[0].x0, drawn.shapes[0].x1) == (0, 1_800)
    assert drawn.annotations[0].x == 900


def test_a_narrow_gap_has_no_words() -> None:
    assert gap_words(Span(0, 10 * _MINUTE_MS), _HOUR, number=1, palette=_LIGHT) == []
