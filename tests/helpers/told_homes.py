"""Homes with analyses that are made up, for what only reads analyses."""

from datetime import date
from typing import Any

from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.home_inputs import HomeInput
from joulebook.storage.record_results import Stamp, record_mark, save_record_result
from joulebook.storage.records import Site
from joulebook.summaries.homes.numbers import Measured, Numbers, Outlook
from joulebook.summaries.site_records import RECORD_NAME, encoded_document

#: 2026-03-01T12:00:00Z. [ms, UTC epoch]
NOON_MS = 1_772_366_400_000
DAY_MS = 86_400_000
TODAY = date(2026, 3, 1)


def entered_home(database: Database, name: str) -> Site:
    """Return a new site whose owner entered all terms: 70 % of 200 Ah until 1 March 2034."""
    return add_site(
        database,
        name,
        "Europe/Lisbon",
        battery_ah=200.0,
        battery_cells=16,
        installed=date(2024, 3, 1),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
    )


def record(ah: float | None = 186.0, *, chance: float | None = 0.9, **more: Any) -> dict[str, Any]:
    """Return an analysis of two years: 186 ± 4 Ah of 200, a loss of 3 ± 1 % a year."""
    capacity: dict[str, Any] = {"ah": None, "low_ah": None, "high_ah": None, "reason": "never low"}
    if ah is not None:
        capacity = {"ah": ah, "low_ah": ah - 4, "high_ah": ah + 4}
    return {
        "method": RECORD_METHOD,
        "entered": "",
        "from_ms": NOON_MS - 730 * DAY_MS,
        "to_ms": NOON_MS,
        "rated_ah": 200.0,
        "capacity": {"latest": capacity},
        "fade": {"ratio_per_year": 0.03, "low": 0.02, "high": 0.04},
        "through": {"per_year": {"efc": 220.0, "thermal_years": 0.9}},
        "warranty": {"ends": "2034-03-01", "floor_ratio": 0.7, "assumed": []},
        "forecast": {
            "expected_ratio": 0.75,
            "low": 0.68,
            "high": 0.81,
            "probability_met": chance,
            "floor_reached": {"early": "2033-01-01", "middle": "beyond", "late": "beyond"},
        },
    } | more


def keep_record(
    connection: Connection, site: Site, document: dict[str, Any], *, computed_ms: int = NOON_MS
) -> None:
    """Store an analysis."""
    save_record_result(
        *(connection, site.id, RECORD_NAME, RECORD_METHOD, encoded_document(document)),
        mark=record_mark(connection, site.id),
        computed_ms=computed_ms,
    )


def home_input(**changes: Any) -> HomeInput:
    """Return a home that was heard a minute ago, signed, and of which all terms are entered."""
    given: dict[str, Any] = {
        "site_id": 1,
        "name": "kiln",
        "said": (True, True),
        "record": Stamp(1, NOON_MS),
        "checks": None,
        "newest_ms": NOON_MS - 60_000,
        "silence": None,
        "alerts": (),
        "signed": True,
        "numbers_of": None,
        "made_of": None,
    }
    return HomeInput(**(given | changes))


def numbers(**changes: Any) -> Numbers:
    """Return the numbers of a home that is well: 93 % of rated, 70 % promised until 2034."""
    given: dict[str, Any] = {
        "capacity": Measured(value=0.93, low=0.91, high=0.95),
        "fade": Measured(value=0.03, low=0.02, high=0.04),
        "heat": 0.9,
        "cycles": 220.0,
        "age_years": 2.0,
        "outlook": outlook(),
    }
    return Numbers(**(given | changes))


def outlook(**changes: Any) -> Outlook:
    """Return an outlook that is good."""
    given: dict[str, Any] = {
        "ends": "2034-03-01",
        "floor_ratio": 0.7,
        "assumed": False,
        "expected": 0.75,
        "low": 0.68,
        "high": 0.81,
        "chance": 0.9,
    }
    return Outlook(**(given | changes))
