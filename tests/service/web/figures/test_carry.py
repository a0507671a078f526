from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go

from joulebook.core.checks.inputs import Readings
from joulebook.web.figures.carry import start_figure
from joulebook.web.figures.palette import PALETTES

_AT_MS = np.array([0, 60_000, 120_000], dtype=np.int64)
_LINES: dict[str, Readings] = {
    "load": (_AT_MS, np.array([400.0, 1900.0, 1900.0])),
    "L1": (_AT_MS, np.array([200.0, 1700.0, 1700.0])),
    "L2": (_AT_MS, np.array([200.0, 200.0, 200.0])),
    "voltage": (_AT_MS, np.array([52.8, 52.2, 52.25])),
}


def test_plotly_itself_takes_the_figure() -> None:
    drawn = start_figure(_LINES, 60_000, zone=ZoneInfo("UTC"), palette=PALETTES["light"])
    assert len(go.Figure(data=drawn["data"], layout=drawn["layout"]).data) == 4
    load, l1, l2, volts = drawn["data"]
    assert load["x"] == [-1.0, 0.0, 1.0]
    assert load["text"][1] == "00:01  Whole load 1900 W"
    assert (volts["y"], volts["yaxis"]) == ([52.8, 52.2, 52.25], "y2")
    # No colour alone: the legs have dashes of their own, and the title names them.
    assert len({each["line"]["dash"] for each in (load, l1, l2)}) == 3
    assert "dashed L1, dotted L2" in drawn["layout"]["annotations"][0]["text"]


def test_what_was_not_read_has_no_strip() -> None:
    only = {"load": _LINES["load"]}
    drawn = start_figure(only, 0, zone=ZoneInfo("UTC"), palette=PALETTES["dark"])
    assert len(go.Figure(data=drawn["data"], layout=drawn["layout"]).data) == 1
    assert "yaxis2" not in drawn["layout"]
    assert len(drawn["layout"]["annotations"]) == 1
