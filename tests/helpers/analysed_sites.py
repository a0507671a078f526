"""Studios whose whole record is analysed, behind the real application.

Their battery is that of ``cycled_packs``: 200 Ah, 16 cells, drawn down every night and filled by
noon, with an inverter around it that takes 40 W. Time is UTC, from Monday 5 January 2026 on.
"""

from collections.abc import Sequence
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.events import Event, EventKind, add_event
from joulebook.storage.records import Site
from joulebook.storage.site_facts import SiteFacts, change_facts
from joulebook.summaries.recompute import recompute
from joulebook.summaries.record_update import update_record
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS, LOST_FAST, cycled_site
from tests.helpers.pages import Studio, client_of

MAX_GAP_S = 300.0
#: Day of the record, kind and title of what the short record's owner noted.
NOTED: Sequence[tuple[int, EventKind, str]] = (
    (25, "firmware", "Inverter firmware 4.2"),
    (48, "panels", "Four more panels"),
)
#: What the owner of the long record entered.
TERMS = SiteFacts(
    installed=date(2025, 12, 20),
    warranty_years=10.0,
    warranty_floor_ratio=0.7,
    warranty_throughput_wh=20e6,
)


def short_studio(data_dir: Path) -> Studio:
    """Return fifty days with two events, days summed up; no term of the warranty was entered."""
    database, site = cycled_site(data_dir, 50)
    now_ms = START_MS + 50 * DAY_MS
    with closing(database.connect()) as connection:
        for day, kind, title in NOTED:
            at_ms = START_MS + day * DAY_MS
            event = Event(id=0, at_ms=at_ms, kind=kind, title=title, made_ms=now_ms)
            add_event(connection, site, event)
    recompute(database, site, clock_ms=lambda: now_ms)
    return _analysed(database, site, now_ms)


def long_studio(data_dir: Path) -> Studio:
    """Return more than a year in which 2 % were lost, with terms; its days are not summed up."""
    return _of_record(data_dir, 370, TERMS, fade_per_year=0.02)


def failing_studio(data_dir: Path) -> Studio:
    """Return fifteen months in which a fifth was lost in the last three, days not summed up."""
    return _of_record(data_dir, 450, TERMS, fade_per_year=0.01, lost=LOST_FAST)


def shallow_studio(data_dir: Path) -> Studio:
    """Return forty days in which the battery never comes below 40 %, its days not summed up."""
    return _of_record(data_dir, 40, SiteFacts(), lowest=0.4)


def _of_record(data_dir: Path, days: int, facts: SiteFacts, **more: Any) -> Studio:
    database, site = cycled_site(data_dir, days, **more)
    with closing(database.connect()) as connection:
        change_facts(connection, site, **facts)
    return _analysed(database, site_named(database, "studio"), START_MS + days * DAY_MS)


def _analysed(database: Database, site: Site, now_ms: int) -> Studio:
    update_record(database, site, clock_ms=lambda: now_ms, max_gap_s=MAX_GAP_S)
    return Studio(client_of(database, now_ms=now_ms), database, site)
