"""Makes an evidence file: a ZIP with a PDF for people, tables for programs, and a checker."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Literal, get_args

import numpy as np

from joulebook.core.battery.rest_voltage import STATES, VOLTS
from joulebook.evidence.archive import Archive
from joulebook.evidence.gathered import Gathered, gather
from joulebook.evidence.raw import MOST_READINGS, RawReadings, raw_lines, raw_readings
from joulebook.evidence.readme import readme_text
from joulebook.evidence.results import results_json
from joulebook.evidence.tables import (
    analysed_lines,
    chain_lines,
    columns_lines,
    correction_lines,
    day_lines,
    deep_test_lines,
    event_lines,
    night_lines,
    offset_lines,
    photo_lines,
    photo_name,
    segment_lines,
)
from joulebook.storage.database import Database
from joulebook.storage.new_files import new_file
from joulebook.storage.records import Site
from joulebook.summaries.record_update import update_record

Paper = Literal["a4", "letter"]
#: The checker's own files, none of which knows joulebook.
CHECKER = (
    "check.py",
    *("check_numbers.py", "check_full.py", "check_nights.py", "check_capacity.py"),
)
PAPERS: tuple[Paper, ...] = get_args(Paper)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What an evidence file got: how many links of the chain, and what is wrong with them."""

    links: int
    head: str | None
    differing: tuple[str, ...]
    readings_whole: bool


def make_evidence(
    database: Database,
    site: Site,
    file: Path,
    *,
    clock_ms: Callable[[], int],
    version: str,
    max_gap_s: float,
    paper: Paper = "a4",
    most_readings: int = MOST_READINGS,
) -> Made:
    """Bring the record's analysis up to date and write the file; whole, or nothing of it.

    The same data and the same instant make the same bytes.

    Parameters
    ----------
    version : str
        Of joulebook.
    max_gap_s : float
        No line between readings bridges more. [s]
    paper : Paper
        Of the PDF.
    most_readings : int
        So many readings as they came are put in at most, the newest.

    Raises
    ------
    DataRefusedError
        If there is a file of that name.
    UnavailableError
        If the disk is full or the file cannot be written.
    """
    # Here, for what draws it takes 7 MB, and a service makes such files elsewhere.
    from joulebook.evidence.pdf.document import evidence_pdf

    update_record(database, site, clock_ms=clock_ms, max_gap_s=max_gap_s)
    gathered = gather(database, site, made_ms=clock_ms(), version=version, max_gap_s=max_gap_s)
    raw = raw_readings(database, site, most_readings=most_readings)
    with new_file(file) as unfinished, Archive(unfinished) as archive:
        for name, content in _texts(gathered, raw):
            archive.put(name, content)
        if raw.series:
            archive.put("readings.csv", raw_lines(database, raw))
        archive.put("evidence.pdf", evidence_pdf(gathered, raw, paper))
    return Made(
        links=len(gathered.links),
        head=gathered.links[-1].hash.hex() if gathered.links else None,
        differing=tuple(gathered.differing),
        readings_whole=raw.whole,
    )


def _texts(gathered: Gathered, raw: RawReadings) -> Iterator[tuple[str, bytes | Iterator[str]]]:
    yield "README.txt", readme_text(gathered, raw).encode()
    for name in CHECKER:
        yield name, (resources.files("joulebook.evidence") / name).read_bytes()
    yield "results.json", results_json(gathered, raw)
    yield "days.csv", day_lines(gathered)
    yield "nights.csv", night_lines(gathered)
    yield "events.csv", event_lines(gathered)
    yield "photos.csv", photo_lines(gathered)
    for photo, jpeg in gathered.photos:
        yield photo_name(photo), jpeg
    yield "corrections.csv", correction_lines(gathered)
    yield "deep-tests.csv", deep_test_lines(gathered)
    yield "chain.csv", chain_lines(gathered.links)
    for each in gathered.sign_offs:
        # The very characters that were hashed when it was signed.
        yield f"sign-off-{each.id}.json", each.document.encode()
    if gathered.measurements is not None:
        yield "analysed.csv", analysed_lines(gathered.measurements)
        yield "offset.csv", offset_lines(gathered.measurements)
        yield "segments.csv", segment_lines(gathered.measurements)
        fine = slice(None, None, 2)
        yield (
            "curve.csv",
            columns_lines(
                ("state", "rest_v"), (np.round(STATES[fine], 6), np.round(VOLTS[fine], 6))
            ),
        )
