"""What each event changed: round trip, idle draw and losses before it and after it."""

from joulebook.core.losses.comparison import Comparison, Side, before_after, sides_of
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset
from joulebook.core.losses.full_windows import round_trip_in
from joulebook.core.losses.idle_draw import own_draw
from joulebook.core.records.record_inputs import RecordEvent, RecordInputs
from joulebook.core.spans import Span


def changes_of(
    inputs: RecordInputs, segments: SegmentSums, offset: SensorOffset
) -> tuple[tuple[RecordEvent, dict[str, Comparison]], ...]:
    """Return, for each event of the record, what was compared, by the number's field name."""
    record = inputs.span
    instants = [each.at_ms for each in inputs.events]
    return tuple(
        (event, _compared(inputs, segments, offset, event.at_ms, *sides))
        for event in inputs.events
        if record.start_ms < event.at_ms < record.end_ms
        for sides in (sides_of(event.at_ms, instants, record),)
    )


def _compared(
    inputs: RecordInputs,
    segments: SegmentSums,
    offset: SensorOffset,
    event_ms: int,
    before: Span,
    after: Span,
) -> dict[str, Comparison]:
    rated_ah = inputs.history.rated_ah
    trips = [
        round_trip_in(segments, span, offset=offset, rated_ah=rated_ah) for span in (before, after)
    ]
    found = {
        "round_trip": before_after(
            event_ms, *(Side(each.span, each.ratio, each.u) for each in trips)
        )
    }
    if inputs.powers is None:
        return found
    old = own_draw(inputs.history, inputs.powers, before, offset=offset)
    new = own_draw(inputs.history, inputs.powers, after, offset=offset, load_w=old.load_w)
    sides = {
        "idle_w": ((old.idle_w, old.idle_u), (new.idle_w, new.idle_u)),
        "loss_w": ((old.loss_w, old.loss_u), (new.loss_w, new.loss_u)),
    }
    for name, ((was, was_u), (became, became_u)) in sides.items():
        found[name] = before_after(
            event_ms, Side(before, was, was_u), Side(after, became, became_u)
        )
    return found
