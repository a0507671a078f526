"""The documents that pages show of a whole record, made with its analysis and kept beside it.

To make them, all days of the record are read: for ten years that takes half a second, and memory
that a service on a small machine does not have. So the process that analyses makes them too, and
a page only unpacks the one that it shows.
"""

import zlib
from datetime import datetime
from typing import Any

import msgspec

from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.database import Connection, Database
from joulebook.storage.record_results import record_result, result_stamp
from joulebook.storage.records import Site
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.numbers import Document
from joulebook.summaries.site_records import RECORD_NAME, StoredRecord
from joulebook.summaries.wear_report import wear_report


class Night(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What one night says of the capacity, as the record's document has it.

    Attributes
    ----------
    full, low : str
        When it was full and when it was lowest, local time with offset; a night that never came
        down has no low point.
    drawn_ah, correction_ah : float
        What was drawn, and what the sensor's zero adds. [Ah]
    cell_v, temperature_c : float or None
        At the low point, of a cell. [V, °C]
    state_ratio : float or None
        What was left at the low point.
    ah, low_ah, high_ah : float or None
        What the battery holds by this night, and its interval. [Ah]
    counts : bool
        Whether it tells the capacity.
    reason : str or None
        Why it does not.
    """

    full: str
    low: str | None
    drawn_ah: float
    correction_ah: float | None
    cell_v: float | None
    state_ratio: float | None
    temperature_c: float | None
    ah: float | None
    low_ah: float | None
    high_ah: float | None
    counts: bool
    reason: str | None

    @property
    def year(self) -> int:
        """The local year in which it began."""
        return int(self.full[:4])


def page_documents(database: Database, site: Site, record: StoredRecord) -> dict[str, Any]:
    """Return the documents of wear and efficiency, and apart from them the list of nights.

    Where nothing can be measured there are none: the days are all there is, and they change.
    """
    if "reason" in record.document:
        return {}
    wear = wear_report(database, site, None, None, record=record)
    return {
        "wear": without_nights(wear),
        "nights": wear["nights"]["list"],
        "efficiency": efficiency_report(database, site, None, None, record=record),
    }


def without_nights(wear: Document) -> Document:
    """Return a wear document with the nights only counted, by the year in which each began."""
    if "nights" not in wear:
        return wear
    years: dict[int, Document] = {}
    for night in wear["nights"]["list"]:
        year = datetime.fromisoformat(night["full"]).year
        of_year = years.setdefault(year, {"year": year, "counting": 0, "others": 0})
        of_year["counting" if night["counts"] else "others"] += 1
    nights = {"years": list(years.values()), "quarters": wear["nights"]["quarters"]}
    return wear | {"nights": nights}


def page_document(connection: Connection, site: Site, name: str, type_: Any = Any) -> Any:
    """Return a document that was made with the stored analysis; ``None`` where it is not there.

    ``type_`` is what it is unpacked as; nights are a list of `Night`.
    """
    stamp = result_stamp(connection, site.id, name)
    if stamp is None or stamp != result_stamp(connection, site.id, RECORD_NAME):
        return None
    found = record_result(connection, site.id, name)
    if found is None or found.method != RECORD_METHOD:
        return None
    return msgspec.json.decode(zlib.decompress(found.result), type=type_)
