"""The part of the loads document about starts: the largest, and what they did to the battery."""

import numpy as np

from joulebook.core.curves import coverage_ratio
from joulebook.core.estimate import Estimate
from joulebook.core.loads.headroom import headroom
from joulebook.core.loads.metering import read_off
from joulebook.core.loads.start_detail import (
    LONGEST_S,
    high_time,
    open_above,
    peak,
    sag,
    spacing_s,
)
from joulebook.core.loads.starts import Kind, find_starts, joined_starts, kinds_of
from joulebook.core.spans import Span
from joulebook.storage.records import Site
from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.numbers import Document, date_text, number, time_text


def starts_document(site: Site, readings: LoadReadings, span: Span) -> Document:
    """Return the largest kinds of starts in a span, each by its largest."""
    dates = {
        "from": date_text(span.start_ms, site.zone),
        "to": date_text(span.end_ms - 1, site.zone),
    }
    parts, highest, covered_s, spacings = [], None, 0.0, []
    for week, load, legs in readings.weeks_of_loads(span):
        parts.append(find_starts(load, legs, week))
        inside = load.value[(load.at_ms >= week.start_ms) & (load.at_ms < week.end_ms)]
        if inside.size:
            highest = max(float(inside.max()), highest or 0.0)
        steps_ms = np.diff(load.at_ms)
        covered_s += coverage_ratio(load, week) * week.length_s
        if steps_ms.size:
            spacings.append(float(np.median(steps_ms)) / 1000)
    if highest is None or not spacings:
        reason = "the load was not measured" if parts else "no meter reads the load"
        return dates | {"list": [], "reason": reason}
    coverage = min(covered_s / span.length_s, 1.0)
    usual_s = float(np.median(spacings))
    top = open_above(read_off(highest, coverage_ratio=coverage))
    return dates | {
        "list": [_start(site, readings, kind) for kind in kinds_of(joined_starts(parts))],
        "coverage_ratio": coverage,
        "spacing_s": usual_s,
        "highest_load_w": number(top, "value"),
        "headroom_w": number(headroom(top, site.inverter_w), "value"),
        "limits": (
            f"read every {usual_s:.0f} s: a motor's first instants, when it takes several times "
            "what it takes running for 0.1 to 1 s, fall between two readings"
        ),
    }


def _start(site: Site, readings: LoadReadings, kind: Kind) -> Document:
    """Return a kind of start by the largest one, looked at closely."""
    around = Span(kind.at_ms - 300_000, kind.at_ms + round(LONGEST_S * 1000))
    found = readings.loads(around)
    assert found is not None  # it was found in a load
    load, legs = found
    every_s = spacing_s(load, kind.at_ms)
    peak_w = peak(load, kind.at_ms, every_s)
    high = high_time(load, kind.at_ms, kind.step_w)
    fell = sag(
        kind.at_ms,
        readings.battery("voltage", around),
        readings.current(around),
        readings.battery("cell_voltage_min", around),
        every_s=every_s,
    )
    return {
        "at": time_text(kind.at_ms, site.zone),
        "at_ms": kind.at_ms,
        "count": kind.count,
        "step_w": number(read_off(kind.step_w), "value"),
        "legs": [
            _leg(name, step_w, peak(line, kind.at_ms, every_s), site)
            for name, step_w, line in zip(
                ("L1", "L2"), (kind.l1_w, kind.l2_w), legs or (), strict=False
            )
            if step_w is not None
        ],
        "peak_w": number(peak_w, "value"),
        "headroom_w": number(headroom(peak_w, site.inverter_w), "value"),
        "peak_headroom_w": number(headroom(peak_w, site.inverter_peak_w), "value"),
        "high_s": number(high.s, "value") | {"at_least": high.at_least},
        "spacing_s": every_s,
        "sag_v": number(fell.v, "value"),
        "sag_ohm": number(fell.ohm, "value"),
        "change_a": fell.change_a,
        "lowest_v": number(fell.lowest_v, "value"),
        "lowest_cell_v": number(fell.lowest_cell_v, "value"),
    }


def _leg(name: str, step_w: float, peak_w: Estimate, site: Site) -> Document:
    return {
        "leg": name,
        "step_w": number(read_off(step_w), "value"),
        "peak_w": number(peak_w, "value"),
        "headroom_w": number(headroom(peak_w, site.inverter_w, leg=True), "value"),
    }
