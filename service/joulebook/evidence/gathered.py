"""All that an evidence file tells, as of one moment."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date

import numpy as np

from joulebook.core.corrections import Correction
from joulebook.core.history import PackHistory
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset
from joulebook.core.outlook.exposure import Exposure, exposure
from joulebook.core.outlook.kept_limits import Kept, Limits, kept_limits
from joulebook.core.spans import Span, date_of, days_span
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection, Database
from joulebook.storage.deep_tests import DeepTest, deep_tests_of
from joulebook.storage.event_photos import EventPhoto, whole_photos
from joulebook.storage.events import Event, events_of
from joulebook.storage.records import Site
from joulebook.storage.seal_links import SealLink, broken_link, links_of
from joulebook.storage.sign_offs import SignOff, sign_offs_of
from joulebook.storage.verify_links import differing_days
from joulebook.summaries.columns import unpacked
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.histories import read_history
from joulebook.summaries.numbers import Document
from joulebook.summaries.reports import days_report
from joulebook.summaries.site_records import StoredRecord, stored_record
from joulebook.summaries.wear_report import wear_report


@dataclass(frozen=True, slots=True, kw_only=True)
class YearOf:
    """A calendar year of the record, or the part of it that there is.

    ``efc`` and ``measured_ratio`` are ``None`` where nothing tells them.
    """

    year: int
    exposure: Exposure
    efc: float | None
    measured_ratio: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurements:
    """What was analysed, and what came of it beside the documents.

    Attributes
    ----------
    history : PackHistory
        The very numbers that the analysis was made of.
    offset : SensorOffset
        What the current sensor shows at no current.
    segments : SegmentSums
        From full charge to full charge.
    years : sequence of YearOf
    kept : Kept
        Whether the terms' limits were kept.
    """

    history: PackHistory
    offset: SensorOffset
    segments: SegmentSums
    years: Sequence[YearOf]
    kept: Kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What an evidence file is made of.

    ``measurements`` is ``None`` where nothing could be measured; ``wear`` then says why. ``photos``
    are each with its bytes.
    """

    site: Site
    made_ms: int
    version: str
    wear: Document
    efficiency: Document
    days: list[Document]
    measurements: Measurements | None
    events: list[Event]
    corrections: list[Correction]
    deep_tests: list[DeepTest]
    sign_offs: list[SignOff]
    photos: list[tuple[EventPhoto, bytes]]
    links: list[SealLink]
    broken: SealLink | None
    differing: list[str]


def gather(
    database: Database, site: Site, *, made_ms: int, version: str, max_gap_s: float
) -> Gathered:
    """Read all that an evidence file tells; the record's analysis must be there and up to date.

    Parameters
    ----------
    made_ms : int
        Now. [ms, UTC epoch]
    version : str
        Of joulebook.
    max_gap_s : float
        No line between readings bridges more. [s]
    """
    with closing(database.connect()) as connection:
        stored = stored_record(connection, site)
        links = list(links_of(connection, site.id))
        parts = (
            events_of(connection, site.id, removed=True),
            corrections_of(connection, site.id, withdrawn=True),
            deep_tests_of(connection, site.id),
            sign_offs_of(connection, site.id),
            whole_photos(connection, site.id),
        )
        differing = list(differing_days(connection, site.id))
        measurements = _measurements(connection, site, stored, max_gap_s)
    events, corrections, deep_tests, sign_offs, photos = parts
    return Gathered(
        site=site,
        made_ms=made_ms,
        version=version,
        wear=wear_report(database, site, None, None),
        efficiency=efficiency_report(database, site, None, None),
        days=days_report(database, site, None, None)["days"],
        measurements=measurements,
        events=events,
        corrections=corrections,
        deep_tests=deep_tests,
        sign_offs=sign_offs,
        photos=photos,
        links=links,
        broken=broken_link(links),
        differing=differing,
    )


def _measurements(
    connection: Connection, site: Site, stored: StoredRecord | None, max_gap_s: float
) -> Measurements | None:
    if stored is None or "reason" in stored.document:
        return None
    document = stored.document
    # The very readings that were analysed: what came since is not in the numbers.
    span = Span(document["from_ms"], document["to_ms"])
    history = read_history(connection, site, max_gap_s=max_gap_s, span=span).pack
    offset = unpacked(SensorOffset, document["offset"])
    limits = Limits(
        charge_low_c=site.charge_low_c,
        charge_high_c=site.charge_high_c,
        discharge_low_c=site.discharge_low_c,
        discharge_high_c=site.discharge_high_c,
        charge_max_v=site.charge_max_v,
    )
    return Measurements(
        history=history,
        offset=offset,
        segments=unpacked(SegmentSums, document["segments"]),
        years=_years(site, document, history, offset),
        kept=kept_limits(history, limits, offset_at=offset.at),
    )


def _years(
    site: Site, document: Document, history: PackHistory, offset: SensorOffset
) -> list[YearOf]:
    first, last = (date_of(int(each), site.zone) for each in history.at_ms[[0, -1]])
    by_day = document["through"]["by_day"]
    begins, efc = date.fromisoformat(by_day["first"]), by_day["efc"]
    found = []
    for year in range(first.year, last.year + 1):
        from_day, to_day = max(first, date(year, 1, 1)), min(last, date(year, 12, 31))
        span = days_span(from_day, to_day, site.zone)
        edges = np.array([(from_day - begins).days, (to_day - begins).days + 1])
        inside = bool(np.all((edges >= 0) & (edges < len(efc))))
        of_year = exposure(history, span, offset_at=offset.at)
        found.append(
            YearOf(
                year=year,
                exposure=of_year,
                efc=efc[edges[1]] - efc[edges[0]] if inside else None,
                measured_ratio=of_year.high_voltage_h.coverage_ratio,
            )
        )
    return found
