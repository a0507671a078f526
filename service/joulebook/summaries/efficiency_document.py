"""A record's round trips, the inverter's own draw, and what events changed, as JSON documents."""

from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.losses.closing import WHY
from joulebook.core.losses.comparison import Comparison
from joulebook.core.losses.full_windows import FullRoundTrip
from joulebook.core.losses.idle_draw import OwnDraw
from joulebook.core.records.record_inputs import RecordEvent
from joulebook.summaries.numbers import Document, date_text, dates_of, number


def round_trip_document(trip: FullRoundTrip, zone: ZoneInfo) -> Document:
    """Return one window's round trip with its inputs and its segments by use."""
    why = trip.segments.why
    return {
        **number(trip.ratio, "ratio", "low_ratio", "high_ratio"),
        **dates_of(trip.span, zone),
        "inputs": {
            "charge_wh": trip.charge_wh,
            "discharge_wh": trip.discharge_wh,
            "hours": trip.hours,
            "offset_a": None if trip.zero is None else trip.zero.offset_a,
            "offset_u_a": None if trip.zero is None else trip.zero.u.total,
            "rest_hours": None if trip.zero is None else trip.zero.rest_h,
            "uncorrected_ratio": trip.uncorrected_ratio,
            "segments_used": trip.segments.used,
            "segments_left_out": {
                words: int(np.count_nonzero(why == place))
                for place, words in enumerate(WHY)
                if place and np.any(why == place)
            },
        },
    }


def own_draw_document(draw: OwnDraw, zone: ZoneInfo) -> Document:
    """Return what the inverter takes, with what it was computed from."""
    return {
        "idle_w": number(draw.idle_w, "value"),
        "loss_w": number(draw.loss_w, "value"),
        "conversion": number(draw.conversion, "ratio", "low_ratio", "high_ratio"),
        "load_w": draw.load_w,
        "hours": draw.hours,
        "nights": draw.nights,
        **dates_of(draw.span, zone),
    }


def change_document(event: RecordEvent, found: dict[str, Comparison], zone: ZoneInfo) -> Document:
    """Return what an event changed, number by number."""
    return {
        "date": date_text(event.at_ms, zone),
        "kind": event.kind,
        "title": event.title,
        "numbers": {
            name: {
                **number(each.difference, "difference"),
                "verdict": each.verdict.value,
                "before": {
                    **number(each.before.number, "value"),
                    **dates_of(each.before.span, zone),
                },
                "after": {**number(each.after.number, "value"), **dates_of(each.after.span, zone)},
            }
            for name, each in found.items()
        },
    }
