from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.spans import local_day
from joulebook.web.series.lines import Line
from joulebook.web.spans.day_parts import LineExtent, extents, part_rows
from joulebook.web.spans.zoom import Zoom, asked_zoom

_DAY = date(2026, 3, 3)
_LISBON = ZoneInfo("Europe/Lisbon")
_MINUTE_MS = 60_000


def zoom(start: str | None, end: str | None) -> Zoom:
    whole = local_day(_DAY, _LISBON)
    return asked_zoom(start, end, day=_DAY, whole=whole, zone=_LISBON, path="/day")


def line(quantity: str = "power") -> Line:
    """Return a reading a minute: as many watts as minutes have passed."""
    minutes = np.arange(1440, dtype=np.int64)
    at_ms = local_day(_DAY, _LISBON).start_ms + minutes * _MINUTE_MS
    return Line("battery", quantity, at_ms, minutes.astype(float))


@pytest.mark.parametrize(
    ("start", "end", "count", "second"),
    [
        (None, None, 24, "01:00"),
        ("00:00", "12:00", 24, "00:30"),
        ("07:00", "09:00", 24, "07:05"),
        ("07:00", "07:30", 15, "07:02"),
        ("07:00", "07:20", 20, "07:01"),
    ],
)
def test_a_part_has_up_to_24_rows(
    start: str | None, end: str | None, count: int, second: str
) -> None:
    part = zoom(start, end)
    rows = part_rows([line()], part, now_ms=part.whole.end_ms)
    assert len(rows) == count
    assert rows[1].time == second


def test_a_row_is_the_mean_of_its_readings_and_leads_further() -> None:
    part = zoom("06:00", "18:00")
    rows = part_rows([line()], part, now_ms=part.whole.end_ms)
    # By hand: minutes 360 to 389 have a mean of 374.5.
    assert rows[0].means == [374.5]
    assert rows[0].url == "/day?from=06:00&to=06:30"
    short = part_rows([line()], zoom("07:00", "08:00"), now_ms=part.whole.end_ms)
    assert {row.url for row in short} == {None}


def test_rows_end_now() -> None:
    part = zoom(None, None)
    noon_ms = part.whole.start_ms + 12 * 60 * _MINUTE_MS
    assert len(part_rows([line()], part, now_ms=noon_ms)) == 12
    assert part_rows([], part, now_ms=noon_ms) == []


def test_what_a_line_reached() -> None:
    # By hand: minutes 420 to 539; their mean is 479.5.
    assert extents([line(), line("soc")], zoom("07:00", "09:00").span) == [
        LineExtent("Battery", False, 420.0, 479.5, 539.0, 120),
        LineExtent("Battery", True, 420.0, 479.5, 539.0, 120),
    ]
    silent = Line("pv", "power", np.empty(0, np.int64), np.empty(0))
    assert extents([silent], zoom(None, None).span) == [
        LineExtent("Panels", False, None, None, None, 0)
    ]
