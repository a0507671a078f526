"""What was computed of whole records, kept at hand until a record is analysed anew.

The documents put a record's analysis beside the sums of all its days, and reading ten years of
days takes far longer than showing them: so they are as old as the analysis, which is some hours.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from threading import Lock
from typing import Any

import msgspec

from joulebook.core.losses.closing import WHY
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset
from joulebook.core.losses.full_windows import round_trip_in
from joulebook.core.planning.plan import Plan
from joulebook.core.spans import days_span
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Database
from joulebook.storage.deep_tests import DeepTest, deep_tests_of
from joulebook.storage.narrowing import may_read
from joulebook.storage.record_results import is_behind, result_stamp
from joulebook.storage.records import Site
from joulebook.storage.tariffs import tariffs_of
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.columns import unpacked
from joulebook.summaries.deep_tests import DeepTestReport, deep_test_reports
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.loads_report import loads_report
from joulebook.summaries.money_losses import cost_of_losses
from joulebook.summaries.money_report import money_report
from joulebook.summaries.numbers import Document
from joulebook.summaries.page_documents import Night, page_document, without_nights
from joulebook.summaries.plan_ground import Asked, PlanGround, plan_ground, planned
from joulebook.summaries.site_records import RECORD_NAME, stored_record
from joulebook.summaries.wear_report import wear_report
from joulebook.web.spans.months import Month, SiteMonths

#: How many documents are kept at hand: ten for each of some sites.
_MOST_KEPT = 80
_MINUTE_MS = 60_000
_QUARTER_MS = 900_000
#: A test that ended so long ago no longer changes by readings that come in.
_SETTLED_MS = 30 * 86_400_000


@dataclass(frozen=True, slots=True)
class Stretch:
    """From one full charge to the next: what went in and out, and whether it is used.

    Attributes
    ----------
    from_ms, to_ms : int
        [ms, UTC epoch]
    charge_wh, discharge_wh : float
        The sensor's offset removed. [Wh]
    why_not : str or None
        Why it is left out of the round trip.
    """

    from_ms: int
    to_ms: int
    charge_wh: float
    discharge_wh: float
    why_not: str | None


class Analyses:
    """The documents of sites' whole records.

    Parameters
    ----------
    database : Database
        Where they are stored.
    max_gap_s : float
        No line bridges more. [s]
    """

    def __init__(self, database: Database, *, max_gap_s: float) -> None:
        self._database = database
        self.max_gap_s = max_gap_s
        self._months = SiteMonths(database)
        self._kept: OrderedDict[tuple[str, Site], tuple[Hashable, Any]] = OrderedDict()
        self._lock = Lock()

    def efficiency(self, site: Site) -> Document:
        """Return the efficiency document of the whole record."""
        return self._document("efficiency", site, efficiency_report)

    def wear(self, site: Site) -> Document:
        """Return the wear document of the whole record, its nights only counted."""
        return self._document("wear", site, _counted_wear)

    def nights(self, site: Site) -> Sequence[Night]:
        """Return every night of the record that began full, in order."""
        stamp = self._stamp(site)
        found: Sequence[Night] | None = self._kept_of("nights", site, stamp)
        if found is None:
            with closing(self._database.connect()) as connection:
                found = page_document(connection, site, "nights", list[Night])
            if found is None:
                wear = wear_report(self._database, site, None, None)
                found = msgspec.convert(wear.get("nights", {"list": []})["list"], list[Night])
            self._keep("nights", site, stamp, found)
        return found

    def months(self, site: Site, *, now_ms: int) -> tuple[Month, ...]:
        """Return the months of a site, the oldest first."""
        return self._months.of(site, now_ms=now_ms)

    def stretches(self, site: Site, trip: Document) -> list[Stretch]:
        """Return the full-to-full stretches of a round trip of the record, the newest first.

        Empty where the round trip does not rest on such.
        """
        if "segments_used" not in trip["inputs"]:
            return []
        stamp = self._stamp(site)
        found: list[Stretch] | None = self._kept_of("stretches", site, stamp)
        if found is None:
            found = self._read_stretches(site, trip)
            self._keep("stretches", site, stamp, found)
        return found

    def checks(self, site: Site, *, now_ms: int) -> Document:
        """Return what the checks find in the last days, as of this minute."""
        stamp = now_ms // _MINUTE_MS
        found: Document | None = self._kept_of("checks", site, stamp)
        if found is None:
            found = checks_report(self._database, site, None, None, now_ms=now_ms)
            self._keep("checks", site, stamp, found)
        return found

    def loads(self, site: Site, *, now_ms: int) -> Document:
        """Return what the site can carry, as of this minute."""
        stamp = (self._stamp(site), now_ms // _MINUTE_MS)
        found: Document | None = self._kept_of("loads", site, stamp)
        if found is None:
            found = loads_report(
                *(self._database, site, None, None), now_ms=now_ms, max_gap_s=self.max_gap_s
            )
            self._keep("loads", site, stamp, found)
        return found

    def money(self, site: Site, *, now_ms: int) -> Document:
        """Return what energy cost and what was saved, as of the last quarter hour."""
        stamp = self._priced_stamp(site, now_ms)
        found: Document | None = self._kept_of("money", site, stamp)
        if found is None:
            found = money_report(
                *(self._database, site, None, None),
                efficiency=self.efficiency(site),
                now_ms=now_ms,
            )
            self._keep("money", site, stamp, found)
        return found

    def cost_of_losses(self, site: Site, *, now_ms: int) -> Document | None:
        """Return what losses and idle draw cost in twelve months, ``None`` without a tariff."""
        stamp = self._priced_stamp(site, now_ms)
        found: list[Document | None] | None = self._kept_of("cost of losses", site, stamp)
        if found is None:
            efficiency = self.efficiency(site)
            found = [cost_of_losses(self._database, site, efficiency, now_ms=now_ms)]
            self._keep("cost of losses", site, stamp, found)
        return found[0]

    def plan_ground(self, site: Site, *, now_ms: int) -> PlanGround:
        """Return what planning rests on, as of the last quarter hour."""
        stamp = self._priced_stamp(site, now_ms)
        found: PlanGround | None = self._kept_of("plan ground", site, stamp)
        if found is None:
            found = plan_ground(
                *(self._database, site),
                efficiency=self.efficiency(site),
                wear=self.wear(site),
                now_ms=now_ms,
            )
            self._keep("plan ground", site, stamp, found)
        return found

    def plan(self, site: Site, asked: Asked, *, now_ms: int) -> Plan | None:
        """Return what a change would have done: for a page, and then for its picture."""
        stamp = (asked, self._priced_stamp(site, now_ms))
        found: list[Plan | None] | None = self._kept_of("plan", site, stamp)
        if found is None:
            found = [planned(self.plan_ground(site, now_ms=now_ms), asked)]
            self._keep("plan", site, stamp, found)
        return found[0]

    def deep_tests(self, site: Site, *, now_ms: int) -> Sequence[DeepTestReport]:
        """Return the site's guided tests; those under way as of this minute."""
        with closing(self._database.connect()) as connection:
            tests = deep_tests_of(connection, site.id)
        lively = any(_is_lively(test, now_ms) for test in tests)
        stamp = (repr(tests), self._stamp(site), now_ms // _MINUTE_MS if lively else None)
        found: Sequence[DeepTestReport] | None = self._kept_of("deep tests", site, stamp)
        if found is None:
            found = deep_test_reports(self._database, site, now_ms=now_ms, max_gap_s=self.max_gap_s)
            self._keep("deep tests", site, stamp, found)
        return found

    def _document(
        self,
        name: str,
        site: Site,
        report: Callable[[Database, Site, date | None, date | None], Document],
    ) -> Document:
        with closing(self._database.connect()) as connection:
            stamp = result_stamp(connection, site.id, RECORD_NAME)
            behind = stamp is not None and is_behind(connection, site.id, stamp)
            document: Document | None = self._kept_of(name, site, stamp)
            if document is None:
                document = page_document(connection, site, name)
        if document is None:
            document = report(self._database, site, None, None)
            if "reason" in document["record"]:
                return document  # the days are all there is, and they are read anew each time
        self._keep(name, site, stamp, document)
        return document | {"record": document["record"] | {"behind": behind}}

    def _kept_of(self, name: str, site: Site, stamp: Hashable) -> Any:
        """Return what is kept under a name, if it was made of what the stamp stands for.

        Nothing to a request that may not read the site: it is not to get past the database.
        """
        if not may_read(site.id):
            return None
        with self._lock:
            kept_stamp, found = self._kept.get((name, site), (None, None))
        return found if kept_stamp == stamp else None

    def _keep(self, name: str, site: Site, stamp: Hashable, found: Any) -> None:
        if not may_read(site.id):
            return  # it was made of nothing
        with self._lock:
            self._kept[name, site] = (stamp, found)
            self._kept.move_to_end((name, site))
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)

    def _stamp(self, site: Site) -> Hashable:
        with closing(self._database.connect()) as connection:
            return result_stamp(connection, site.id, RECORD_NAME)

    def _priced_stamp(self, site: Site, now_ms: int) -> Hashable:
        """Return what stands for tariffs, corrections, analysis and quarter hours of a site."""
        with closing(self._database.connect()) as connection:
            tariffs = repr(tariffs_of(connection, site.id))
            corrections = repr(corrections_of(connection, site.id))
        return (self._stamp(site), tariffs, corrections, now_ms // _QUARTER_MS)

    def _read_stretches(self, site: Site, trip: Document) -> list[Stretch]:
        with closing(self._database.connect()) as connection:
            parts = ("segments", "offset", "rated_ah")
            stored = stored_record(connection, site, parts)
        if stored is None or "segments" not in stored.document:
            return []
        document = stored.document
        first, last = (date.fromisoformat(trip[end]) for end in ("from", "to"))
        segments = round_trip_in(
            unpacked(SegmentSums, document["segments"]),
            days_span(first, last, site.zone),
            offset=unpacked(SensorOffset, document["offset"]),
            rated_ah=document["rated_ah"],
        ).segments
        columns = (segments.from_ms, segments.to_ms, segments.charge_wh, segments.discharge_wh)
        rows = zip(*(each.tolist() for each in (*columns, segments.why)), strict=True)
        found = [
            Stretch(from_ms, to_ms, charge_wh, discharge_wh, WHY[why] if why else None)
            for from_ms, to_ms, charge_wh, discharge_wh, why in rows
        ]
        return found[::-1]


def _counted_wear(
    database: Database, site: Site, first: date | None, last: date | None
) -> Document:
    return without_nights(wear_report(database, site, first, last))


def _is_lively(test: DeepTest, now_ms: int) -> bool:
    """Tell whether a reading that comes in may change what is told of a test."""
    if test.started_ms is None:
        return False
    return test.ended_ms is None or now_ms - test.ended_ms < _SETTLED_MS
