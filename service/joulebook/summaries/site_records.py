"""The analysis of a site's whole record: computed, packed, and asked for."""

import zlib
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from typing import Any

import msgspec
import numpy as np

from joulebook.core.records.record import RECORD_METHOD, analyse
from joulebook.core.records.record_inputs import NamedSpan, RecordEvent, RecordInputs
from joulebook.core.spans import Span, date_of, days_span, local_day
from joulebook.storage.database import Connection, Database
from joulebook.storage.events import events_of
from joulebook.storage.reading import readings_span
from joulebook.storage.record_results import record_result
from joulebook.storage.records import Site
from joulebook.summaries.calendar_quarters import quarters_of
from joulebook.summaries.histories import NoRecordError, SiteHistory, read_history
from joulebook.summaries.numbers import Document
from joulebook.summaries.record_document import record_document
from joulebook.summaries.warranty import Warranty, warranty_of

#: Under which the analysis is stored.
RECORD_NAME = "record"


def _plain(value: object) -> object:
    """Return a number of numpy's as one of Python's."""
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} is no JSON")


_encoder = msgspec.json.Encoder(enc_hook=_plain)
_decoder = msgspec.json.Decoder()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRecord:
    """A record's analysis as it is stored.

    Attributes
    ----------
    document : Document
        What `record_document` makes, or ``{"reason": …}`` where nothing can be measured.
    computed_ms : int
        [ms, UTC epoch]
    behind : bool
        Whether readings or what the owner entered have changed since.
    """

    document: Document
    computed_ms: int
    behind: bool


def record_inputs(
    history: SiteHistory,
    site: Site,
    events: tuple[RecordEvent, ...] = (),
    own_draw_from_ms: int | None = None,
) -> tuple[RecordInputs, Warranty]:
    """Return what the analysis of a site's record takes, and the warranty it is held against."""
    at_ms = history.pack.at_ms
    first, last = (date_of(int(each), site.zone) for each in at_ms[[0, -1]])
    warranty = warranty_of(site, first)
    inputs = RecordInputs(
        history=history.pack,
        powers=history.powers,
        charge_counter_wh=history.charge_counter_wh,
        discharge_counter_wh=history.discharge_counter_wh,
        soc_ratio=history.soc_ratio,
        soh_ratio=history.soh_ratio,
        spread_v=history.spread_v,
        quarters=[
            NamedSpan(each.name, days_span(each.first, each.last, site.zone))
            for each in quarters_of(first, last)
        ],
        events=events,
        terms=warranty.terms(site),
        installed_ms=local_day(warranty.begins, site.zone).start_ms,
        own_draw_from_ms=own_draw_from_ms,
    )
    return inputs, warranty


def analysed(
    connection: Connection,
    site: Site,
    *,
    max_gap_s: float,
    span: Span | None = None,
    own_draw_from_ms: int | None = None,
) -> Document:
    """Read a site's record and return its analysis; a reason where nothing can be measured.

    Parameters
    ----------
    span : Span, optional
        The part of the record to read; by default all of it.
    own_draw_from_ms : int, optional
        What the inverter takes is told of no earlier readings. [ms, UTC epoch]
    """
    try:
        history = read_history(connection, site, max_gap_s=max_gap_s, span=span)
    except NoRecordError as error:
        return {"method": RECORD_METHOD, "reason": str(error)}
    events = tuple(
        RecordEvent(at_ms=each.at_ms, kind=each.kind, title=each.title)
        for each in events_of(connection, site.id)
    )
    inputs, warranty = record_inputs(history, site, events, own_draw_from_ms)
    document = record_document(analyse(inputs), site.zone, history.words)
    return document | {
        "warranty": {
            "begins": warranty.begins.isoformat(),
            "ends": warranty.ends.isoformat(),
            "floor_ratio": warranty.floor_ratio,
            "throughput_wh": warranty.throughput_wh,
            "assumed": list(warranty.assumed),
        }
    }


def record_of_days(
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    *,
    clock_ms: Callable[[], int],
    max_gap_s: float,
) -> StoredRecord:
    """Analyse all days up to ``last``: what was to be told of those from ``first`` on that day.

    Earlier days help to know the sensors. Nothing is stored.
    """
    with closing(database.connect()) as connection:
        known = readings_span(connection, site.id) or Span(0, 0)
        end_ms = local_day(last, site.zone).end_ms if last else known.end_ms
        span = Span(known.start_ms, max(min(end_ms, known.end_ms), known.start_ms))
        document = analysed(
            connection,
            site,
            max_gap_s=max_gap_s,
            span=span,
            own_draw_from_ms=local_day(first, site.zone).start_ms if first else None,
        )
    return StoredRecord(
        document=plain_document(document),
        computed_ms=clock_ms(),
        behind=False,
    )


def stored_record(
    connection: Connection, site: Site, parts: Sequence[str] | None = None
) -> StoredRecord | None:
    """Return the stored analysis; ``None`` where there is none, or another method made it.

    Parameters
    ----------
    parts : sequence of str, optional
        What of the document is wanted, besides ``reason``: the whole of ten years takes many
        megabytes once it is unpacked.
    """
    found = record_result(connection, site.id, RECORD_NAME)
    if found is None or found.method != RECORD_METHOD:
        return None
    plain = zlib.decompress(found.result)
    document: Document = _decoder.decode(plain) if parts is None else _parts_of(plain, parts)
    return StoredRecord(
        document=document,
        computed_ms=found.computed_ms,
        behind=found.behind,
    )


def _parts_of(plain: bytes, parts: Sequence[str]) -> Document:
    """Return some parts of a document, those that are there; the others are passed over."""
    wanted = ("reason", *parts)
    shape = msgspec.defstruct("Parts", [(name, Any, msgspec.UNSET) for name in wanted])
    found = msgspec.json.decode(plain, type=shape)
    values = ((name, getattr(found, name)) for name in wanted)
    return {name: value for name, value in values if value is not msgspec.UNSET}


def encoded_document(document: object) -> bytes:
    """Return a document as it is stored: JSON in a zlib stream (RFC 1950)."""
    return zlib.compress(_encoder.encode(document))


def plain_document(document: Document) -> Document:
    """Return a document as it comes back from where it is stored."""
    plain: Document = _decoder.decode(_encoder.encode(document))
    return plain
