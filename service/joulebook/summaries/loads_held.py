"""The part of the loads document about what is left: energy, and the hours that it lasts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.estimate import Estimate
from joulebook.core.history import MS_PER_DAY
from joulebook.core.loads.held import (
    CLAIM_HALF_RATIO,
    RATED_HIGH_RATIO,
    RATED_LOW_RATIO,
    SinceFull,
    Usable,
    left_by_claim,
    left_since_full,
    since_full,
    untold,
    usable,
)
from joulebook.core.loads.hours import (
    ASSUMED_HIGH_RATIO,
    ASSUMED_LOW_RATIO,
    RESERVE_RATIO,
    OwnLoss,
    drawn_for,
    hours_left,
    load_now,
    night_load,
)
from joulebook.core.losses.full_segments import SensorOffset
from joulebook.core.spans import Span, date_of, dates, local_day
from joulebook.storage.database import Connection
from joulebook.storage.records import Site
from joulebook.summaries.columns import unpacked
from joulebook.summaries.histories import NoRecordError, read_history
from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.numbers import Document, number, suffixed, time_text, unknown

#: Full charges, and usual nights, are looked for in so many days. [days]
RECENT_DAYS = 30
#: A claim older than this is none. [ms]
_CLAIM_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class Asked:
    """A site, and the instant that what is left is told of. [ms, UTC epoch]"""

    connection: Connection
    site: Site
    as_of_ms: int
    max_gap_s: float


def held_document(asked: Asked, readings: LoadReadings, record: Document | None) -> Document:
    """Return what is left, the loads, and the hours that it lasts at each of them."""
    site, as_of_ms = asked.site, asked.as_of_ms
    holds = _usable(site, record)
    since = _since_full(asked, record)
    ours = left_since_full(holds, since)
    soc = _claimed(readings, as_of_ms)
    claim = left_by_claim(holds, soc)
    left = claim if ours.value is None else ours
    own = _own_loss(record)
    return {
        "usable": {**suffixed(holds.wh, "wh"), "measured": holds.measured},
        "left": {
            "ours": {
                **suffixed(ours, "wh"),
                "drawn_ah": number(since.drawn_ah, "value"),
                "full": None if since.full_ms is None else time_text(since.full_ms, site.zone),
                "hours": since.hours,
            },
            "claim": {**suffixed(claim, "wh"), "soc_ratio": soc},
            "used": None if left.value is None else "claim" if ours.value is None else "ours",
        },
        **_hours(asked, readings, holds, left, own),
        "assumptions": _assumptions(holds, own, by_claim=ours.value is None),
    }


def _hours(
    asked: Asked, readings: LoadReadings, holds: Usable, left: Estimate, own: OwnLoss | None
) -> Document:
    recent = _recent(asked)
    load = readings.power("load", recent)
    if load is None:
        names = ("value", "low", "high")
        reason = "no meter reads the load"
        return {
            "load_now": unknown(names, reason),
            "night_load": unknown((*names, "tenth_w", "ninetieth_w"), reason),
            "hours": [],
            "hours_reason": reason,
        }
    now = load_now(load, asked.as_of_ms)
    night = night_load(load, readings.power("pv", recent), _days(asked))
    return {
        "load_now": number(now, "value"),
        "night_load": {
            **number(night.w, "value"),
            "tenth_w": night.tenth_w,
            "ninetieth_w": night.ninetieth_w,
            "nights": night.nights,
        },
        "hours": [
            {
                "load": name,
                "until": until,
                **number(hours_left(left, draw, kept * (holds.wh.value or 0.0)), "value"),
                "drawn_w": number(draw, "value"),
            }
            for name, draw in (("now", drawn_for(now, own)), ("night", drawn_for(night.w, own)))
            for until, kept in (("empty", 0.0), ("a tenth", RESERVE_RATIO))
        ],
    }


def _recent(asked: Asked) -> Span:
    return Span(asked.as_of_ms - round(RECENT_DAYS * MS_PER_DAY), asked.as_of_ms)


def _days(asked: Asked) -> Sequence[Span]:
    span = _recent(asked)
    first, last = (date_of(each, asked.site.zone) for each in (span.start_ms, span.end_ms))
    return [local_day(day, asked.site.zone) for day in dates(first, last)]


def _usable(site: Site, record: Document | None) -> Usable:
    energy = record["energy"] if record else None
    capacity = record["capacity"]["latest"]["ah"] if record else None
    measured = None
    if energy is not None and energy["wh"] is not None and capacity is not None:
        measured = Estimate(
            value=energy["wh"],
            low=energy["low_wh"],
            high=energy["high_wh"],
            coverage_ratio=energy["coverage_ratio"],
            method=energy["method"],
        )
    return usable(measured, capacity, rated_ah=site.battery_ah, cells=site.battery_cells)


def _since_full(asked: Asked, record: Document | None) -> SinceFull:
    try:
        history = read_history(
            asked.connection, asked.site, max_gap_s=asked.max_gap_s, span=_recent(asked)
        )
    except NoRecordError as error:
        return untold(str(error))
    offset = None if record is None else unpacked(SensorOffset, record["offset"])
    return since_full(history.pack, offset)


def _claimed(readings: LoadReadings, as_of_ms: int) -> float | None:
    """Return the battery's newest state of charge."""
    _, soc = readings.battery("soc", Span(as_of_ms - _CLAIM_MS, as_of_ms))
    return float(soc[-1]) if soc.size else None


def _own_loss(record: Document | None) -> OwnLoss | None:
    draw = record["own_draw"] if record else None
    if draw is None or draw["load_w"] is None:
        return None
    idle, loss = draw["idle_w"], draw["loss_w"]
    if idle["value"] is None or loss["value"] is None:
        return None
    half = float(np.max([idle["high"] - idle["low"], loss["high"] - loss["low"]])) / 2
    return OwnLoss(idle_w=idle["value"], loss_w=loss["value"], load_w=draw["load_w"], half_w=half)


def _assumptions(holds: Usable, own: OwnLoss | None, *, by_claim: bool) -> list[str]:
    told = [
        "without sun and without the grid",
        "the reserve that you set in your equipment is not known here: it can end earlier",
    ]
    if not holds.measured and holds.wh.value is not None:
        told.append(
            "what the battery holds was not measured: as rated, and anywhere from "
            f"{RATED_LOW_RATIO:.0%} to {RATED_HIGH_RATIO:.0%} of that"
        )
    if by_claim:
        told.append(
            f"the state of charge is the battery's own claim, taken to be within "
            f"{CLAIM_HALF_RATIO:.0%} of full"
        )
    if own is None:
        told.append(
            "what the inverter takes was not measured: "
            f"{ASSUMED_LOW_RATIO:.0%} to {ASSUMED_HIGH_RATIO:.0%} comes out"
        )
    return told
