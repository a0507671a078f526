"""The tables of an evidence file, as lines of CSV (RFC 4180, lines ended by a line feed)."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.evidence.gathered import Gathered, Measurements
from joulebook.storage.event_photos import EventPhoto
from joulebook.storage.seal_links import SealLink

#: Rows that are turned into text at once.
_ROWS_AT_ONCE = 50_000

Row = Sequence[object]


def lines_of(head: Sequence[str], rows: Iterable[Row]) -> Iterator[str]:
    """Yield a table's lines; ``None`` is an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow(["" if cell is None else cell for cell in row])
        yield out.getvalue()
        out.seek(0)
        out.truncate()
    yield out.getvalue()


def columns_lines(head: Sequence[str], columns: Sequence[NDArray[Any]]) -> Iterator[str]:
    """Yield the lines of long columns of numbers, NaN being an empty cell."""
    yield ",".join(head) + "\n"
    for start in range(0, len(columns[0]), _ROWS_AT_ONCE):
        cells = [_texts(column[start : start + _ROWS_AT_ONCE]) for column in columns]
        yield "".join(",".join(row) + "\n" for row in zip(*cells, strict=True))


def _texts(values: NDArray[Any]) -> list[str]:
    return ["" if value != value else repr(value) for value in values.tolist()]


def analysed_lines(found: Measurements) -> Iterator[str]:
    """Yield what the analysis was made of: corrected, averaged where it was logged faster."""
    history = found.history
    return columns_lines(
        ("time_ms", "voltage_v", "current_a", "temperature_c"),
        (history.at_ms, history.voltage_v, history.current_a, history.temperature_c),
    )


def offset_lines(found: Measurements) -> Iterator[str]:
    """Yield what the current sensor shows at no current, as a line through knots."""
    offset = found.offset
    return columns_lines(
        ("time_ms", "offset_a", "u_a"), (offset.at_ms, offset.offset_a, offset.u_a)
    )


def segment_lines(found: Measurements) -> Iterator[str]:
    """Yield the stretches from full charge to full charge."""
    of = found.segments
    return columns_lines(
        ("from_ms", "to_ms", "charge_wh", "discharge_wh", "charge_ah", "discharge_ah", "broken"),
        (
            *(of.from_ms, of.to_ms, of.charge_wh, of.discharge_wh),
            *(of.charge_ah, of.discharge_ah, of.broken.astype(np.int64)),
        ),
    )


_NIGHT = (
    *("full", "low", "drawn_ah", "correction_ah", "cell_v", "state_ratio", "temperature_c"),
    *("ah", "low_ah", "high_ah", "counts", "reason"),
)


def night_lines(gathered: Gathered) -> Iterator[str]:
    """Yield every night with what it implies, or why it does not count."""
    nights = gathered.wear.get("nights", {"list": []})["list"]
    return lines_of(
        _NIGHT,
        (
            [int(value) if isinstance(value, bool) else value for value in map(night.get, _NIGHT)]
            for night in nights
        ),
    )


def day_lines(gathered: Gathered) -> Iterator[str]:
    """Yield the numbers of each local day; what is missing is empty, and its reason follows."""
    names = [name for name in (gathered.days or [{}])[0] if name not in _NOT_CELLS]
    return lines_of(
        [*names, "not_given"],
        (
            [*map(day.get, names), "; ".join(f"{n}: {why}" for n, why in day["reasons"].items())]
            for day in gathered.days
        ),
    )


_NOT_CELLS = frozenset({"intervals", "coverage", "methods", "reasons", "inputs"})


def chain_lines(links: Sequence[SealLink]) -> Iterator[str]:
    """Yield the chain of what was sealed."""
    return lines_of(
        ("number", "day", "device", "readings", "digest", "sealed_ms", "hash"),
        (
            (
                *(link.number, link.day, link.device, link.readings),
                *(link.digest.hex(), link.sealed_ms, link.hash.hex()),
            )
            for link in links
        ),
    )


def event_lines(gathered: Gathered) -> Iterator[str]:
    """Yield events, those taken back too."""
    return lines_of(
        ("at", "kind", "title", "note", "entered", "taken_back"),
        (
            (
                *(instant(each.at_ms), each.kind, each.title, each.note),
                *(instant(each.made_ms), instant(each.removed_ms)),
            )
            for each in gathered.events
        ),
    )


def photo_lines(gathered: Gathered) -> Iterator[str]:
    """Yield the photos of events, and the sums by which each is in the manifest too."""
    events = {each.id: each for each in gathered.events}
    return lines_of(
        ("file", "event", "event_at", "shows", "added", "width", "height", "sha256"),
        (
            (
                *(photo_name(each), events[each.event_id].title),
                *(instant(events[each.event_id].at_ms), each.caption, instant(each.made_ms)),
                *(each.width, each.height, each.sha256),
            )
            for each, _ in gathered.photos
        ),
    )


def photo_name(photo: EventPhoto) -> str:
    """Return what a photo's file is called."""
    return f"photo-{photo.id}.jpg"


def correction_lines(gathered: Gathered) -> Iterator[str]:
    """Yield corrections, those withdrawn too."""
    return lines_of(
        ("series", "kind", "value", "from", "to", "note", "entered", "withdrawn"),
        (
            (
                *(f"{each.device}/{each.quantity}", each.kind, each.value),
                *(instant(each.from_ms), instant(each.to_ms), each.note),
                *(instant(each.made_ms), instant(each.withdrawn_ms)),
            )
            for each in gathered.corrections
        ),
    )


def deep_test_lines(gathered: Gathered) -> Iterator[str]:
    """Yield the guided tests of capacity."""
    return lines_of(
        ("planned", "started", "ended", "target", "note"),
        (
            (
                *(instant(each.planned_ms), instant(each.started_ms), instant(each.ended_ms)),
                *("; ".join(f"{n} {v}" for n, v in asdict(each.target).items()), each.note),
            )
            for each in gathered.deep_tests
        ),
    )


def instant(at_ms: int | None) -> str | None:
    """Return an instant as RFC 3339 in UTC."""
    if at_ms is None:
        return None
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).isoformat(timespec="milliseconds")
