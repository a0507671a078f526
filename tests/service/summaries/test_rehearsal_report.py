"""Rehearsals in the site of round numbers, whose kettle starts at seven."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.rehearsal_report import rehearsal_report
from tests.helpers.carried_sites import DAY_MS, HOUR_MS, MINUTE_MS, carried_site, end_ms

#: A quarter of an hour around the kettle's start on the last day.
SEVEN_MS = end_ms() - DAY_MS + 7 * HOUR_MS
AROUND = Span(SEVEN_MS - 5 * MINUTE_MS, SEVEN_MS + 10 * MINUTE_MS)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Site]]:
    database, site = carried_site(tmp_path_factory.mktemp("rehearsed"), inverter_w=1800.0)
    yield database, site
    database.close()


def test_the_start_of_the_span_is_judged(studio: tuple[Database, Site]) -> None:
    found = rehearsal_report(*studio, AROUND)
    assert found["start"]["step_w"]["value"] == 1500
    # The load reached 1900 W.
    assert found["verdict"] == "close"
    assert "100 W above what the inverter is rated for" in found["sentence"]
    assert found["read_to_ms"] == AROUND.end_ms - MINUTE_MS
    assert (found["from"], found["to"]) == ("2026-06-09T06:55+00:00", "2026-06-09T07:10+00:00")
    assert found["limits"].startswith("read every 60 s")


def test_a_quiet_hour_has_no_start(studio: tuple[Database, Site]) -> None:
    quiet = Span(AROUND.end_ms, AROUND.end_ms + HOUR_MS)
    found = rehearsal_report(*studio, quiet)
    assert (found["verdict"], found["start"]) == ("nothing", None)


def test_a_time_that_is_not_read_says_so(studio: tuple[Database, Site]) -> None:
    later = Span(end_ms() + HOUR_MS, end_ms() + 2 * HOUR_MS)
    found = rehearsal_report(*studio, later)
    assert (found["verdict"], found["reason"]) == (None, "the load was not measured")


def test_a_site_that_meters_no_load_cannot_rehearse(tmp_path: Path) -> None:
    found = rehearsal_report(*carried_site(tmp_path, "load"), AROUND)
    assert found["reason"] == "no meter reads the load"
