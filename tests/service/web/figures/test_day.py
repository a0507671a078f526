from datetime import date
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
import pytest

from joulebook.core.spans import Span, local_day
from joulebook.web.figures.day import day_figure
from joulebook.web.figures.palette import PALETTES
from joulebook.web.series.lines import Line

_DAY = date(2026, 3, 3)
_LISBON = ZoneInfo("Europe/Lisbon")


def line(device: str, quantity: str, values: list[float]) -> Line:
    start_ms = local_day(_DAY, _LISBON).start_ms
    at_ms = start_ms + np.arange(len(values), dtype=np.int64) * 3_600_000
    return Line(device, quantity, at_ms, np.array(values))


def figure(
    *lines: Line,
    day: date = _DAY,
    zone: ZoneInfo = _LISBON,
    part: tuple[float, float] | None = None,
    pixel_s: float = 222.0,
) -> dict[str, Any]:
    """Return the figure of a day, or of a part of it, from and to an hour after midnight."""
    span = local_day(day, zone)
    if part is not None:
        start, end = (span.start_ms + round(hour * 3_600_000) for hour in part)
        span = Span(start, end)
    return day_figure(
        day,
        lines,
        span=span,
        zone=zone,
        palette=PALETTES["dark"],
        pixel_s=pixel_s,
        now_ms=local_day(day, zone).start_ms + 14 * 3_600_000,
    )


def test_plotly_itself_takes_the_figure() -> None:
    # plotly's Python package refuses what its schema does not know.
    drawn = figure(line("pv", "power", [0, 900]), line("battery", "soc", [0.5, 0.6]))
    assert go.Figure(data=drawn["data"], layout=drawn["layout"]).data[1].yaxis == "y2"


def test_kilowatts_and_per_cent_at_the_seconds_of_the_day() -> None:
    power, soc = figure(
        line("battery", "power", [-1_500, 250]), line("battery-2", "soc", [0.5, 0.625])
    )["data"]
    assert power["x"] == [0, 3600]
    assert power["y"] == [-1.5, 0.25]
    assert soc["y"] == [50.0, 62.5]
    assert power["text"] == ["00:00", "01:00"]
    assert power["hovertemplate"] == "%{text}  %{y:.2f} kW<extra></extra>"
    assert soc["hovertemplate"] == "%{text}  %{y:.0f}%<extra></extra>"


def test_a_gap_stays_one() -> None:
    (trace,) = figure(line("pv", "power", [1.0, np.nan, 3.0]))["data"]
    assert trace["y"][1] is None
    assert trace["connectgaps"] is False


def test_a_kilowatt_is_equally_high_in_every_strip() -> None:
    layout = figure(
        line("pv", "power", [0, 3_000]),
        line("grid", "power", [-2_000, 500]),
        line("load", "power", [100, 1_000]),
    )["layout"]
    heights = [
        (axis["domain"][1] - axis["domain"][0]) / (axis["range"][1] - axis["range"][0])
        for axis in (layout["yaxis"], layout["yaxis2"], layout["yaxis3"])
    ]
    assert heights == pytest.approx([heights[0]] * 3)
    assert layout["yaxis2"]["range"] == pytest.approx([-2.1, 0.525])


def test_strips_stand_below_one_another_and_say_what_they_are() -> None:
    layout = figure(
        line("pv", "power", [0, 100]),
        line("grid", "power", [0, 50]),
        line("battery", "power", [0, 50]),
        line("battery", "soc", [0.5, 0.5]),
    )["layout"]
    domains = [layout[f"yaxis{number}"]["domain"] for number in ("", 2, 3, 4)]
    for upper, lower in pairwise(domains):
        assert lower[1] < upper[0]
    assert domains[-1][0] >= 0
    titles = [note["text"] for note in layout["annotations"] if note["yref"] == "paper"]
    assert titles == [
        "<b>Panels</b>, kW",
        "<b>Grid</b>, kW (+ buying, \N{MINUS SIGN} selling)",
        "<b>Battery</b>, kW (+ filling, \N{MINUS SIGN} emptying)",
        "<b>Battery</b>, its own state of charge",
    ]


def test_hours_are_those_of_the_sites_clock_when_it_changes() -> None:
    # IANA tz database: Lisbon put its clocks forward at 01:00 on 29 March 2026.
    axis = figure(day=date(2026, 3, 29))["layout"]["xaxis"]
    assert axis["ticktext"] == ["00:00", "04:00", "08:00", "12:00", "16:00", "20:00"]
    assert axis["tickvals"] == [0, *(hour * 3600 for hour in (3, 7, 11, 15, 19))]
    assert axis["range"] == [0, 23 * 3600]


def test_what_was_not_measured_is_shaded_up_to_now() -> None:
    # By hand: readings at 00:00 and 02:00, nothing at 01:00, and now is 14:00.
    layout = figure(line("pv", "power", [1.0, np.nan, 1.0]))["layout"]
    shades = [(shape["x0"], shape["x1"], shape["yref"]) for shape in layout["shapes"]]
    assert sorted(shades) == [(0, 7_200, "y domain"), (7_200, 14 * 3_600, "y domain")]
    assert layout["annotations"][-1]["text"] == "nothing measured"


def test_it_says_what_a_point_is() -> None:
    raw = line("pv", "power", [1.0])
    thinned = Line("pv", "power", raw.at_ms, raw.value, thinned=True)
    assert figure(raw)["layout"]["xaxis"]["title"]["text"].endswith("each point is a reading")
    assert figure(thinned)["layout"]["xaxis"]["title"]["text"] == (
        "local time; the least and the greatest reading of every 3.7 min"
    )
    close = figure(thinned, pixel_s=18.4)["layout"]["xaxis"]["title"]["text"]
    assert close.endswith("reading of every 18 s")


def test_a_part_has_its_own_ticks_and_seconds() -> None:
    drawn = figure(line("pv", "power", [float(hour) for hour in range(24)]), part=(7.0, 9.0))
    axis = drawn["layout"]["xaxis"]
    assert axis["range"] == [0, 7_200]
    assert axis["ticktext"] == ["07:00", "07:30", "08:00", "08:30", "09:00"]
    assert axis["tickvals"] == [0, 1_800, 3_600, 5_400, 7_200]
    assert drawn["data"][0]["x"][7:10] == [0, 3_600, 7_200]
    assert drawn["data"][0]["text"][7] == "07:00 00 s"


def test_a_time_that_the_clocks_skip_has_no_tick() -> None:
    # Lisbon, 29 March 2026: 01:00 becomes 02:00, an hour after midnight.
    axis = figure(day=date(2026, 3, 29), part=(0.0, 2.0))["layout"]["xaxis"]
    assert axis["ticktext"] == ["00:00", "00:30", "02:00", "02:30", "03:00"]
    assert axis["tickvals"] == [0, 1_800, 3_600, 5_400, 7_200]
