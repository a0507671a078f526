"""A load rehearsal's document: the largest start in a span that the owner watched."""

from contextlib import closing

import numpy as np

from joulebook.core.loads.metering import LOADS_METHOD
from joulebook.core.loads.outages import OFF_W
from joulebook.core.loads.rehearsal import Seen, verdict
from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.loads_starts import starts_document
from joulebook.summaries.numbers import Document, time_text


def rehearsal_report(database: Database, site: Site, span: Span) -> Document:
    """Return what the readings of a span say of the largest load that was switched on in it."""
    with closing(database.connect()) as connection:
        readings = LoadReadings(connection, site)
        found = readings.loads(span)
        document: Document = {
            "method": LOADS_METHOD,
            "from": time_text(span.start_ms, site.zone),
            "to": time_text(span.end_ms, site.zone),
            "start": None,
            "read_to_ms": None,
        }
        starts = starts_document(site, readings, span)
        if found is None or "reason" in starts:
            return document | {"verdict": None, "reason": starts["reason"]}
        load, _ = found
        inside = (load.at_ms >= span.start_ms) & (load.at_ms < span.end_ms)
        start = starts["list"][0] if starts["list"] else None
        seen = None
        if start is not None:
            after = inside & (load.at_ms > start["at_ms"])
            # A site with nothing else on is dark whenever the rehearsed load is off.
            was_on = bool(np.all(load.value[load.at_ms == start["at_ms"]] > OFF_W))
            seen = Seen(
                went_dark=was_on and bool(np.any(load.value[after] <= OFF_W)),
                change_a=start["change_a"],
                lowest_cell_v=start["lowest_cell_v"]["value"],
                room_w=start["headroom_w"]["value"],
            )
        told = verdict(seen)
        return document | {
            "start": start,
            "read_to_ms": int(load.at_ms[inside][-1]),
            "verdict": told.name,
            "sentence": told.sentence,
            "limits": starts["limits"],
        }
