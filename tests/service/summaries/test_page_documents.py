"""Documents for pages are those of the reports, made once and kept beside the analysis."""

from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import msgspec
import pytest

from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.record_results import (
    is_behind,
    result_stamp,
    save_record_result,
)
from joulebook.storage.records import Site
from joulebook.summaries import page_documents
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.page_documents import Night, page_document, without_nights
from joulebook.summaries.recompute import recompute
from joulebook.summaries.record_update import update_record
from joulebook.summaries.wear_report import wear_report
from tests.helpers.cycled_records import cycled_site

_COMPUTED_MS = 7


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Site]]:
    database, site = cycled_site(tmp_path_factory.mktemp("documents"), 50)
    recompute(database, site, clock_ms=lambda: 5)
    update_record(database, site, clock_ms=lambda: _COMPUTED_MS, max_gap_s=300.0)
    yield database, site
    database.close()


@pytest.fixture
def connection(home: tuple[Database, Site]) -> Iterator[Connection]:
    with closing(home[0].connect()) as connection:
        yield connection


def test_they_are_what_the_reports_say(home: tuple[Database, Site], connection: Connection) -> None:
    wear = wear_report(*home, None, None)
    assert page_document(connection, home[1], "wear") == without_nights(wear)
    assert page_document(connection, home[1], "nights") == wear["nights"]["list"]
    assert page_document(connection, home[1], "efficiency") == efficiency_report(*home, None, None)


def test_nights_are_counted_by_year(home: tuple[Database, Site], connection: Connection) -> None:
    nights = page_document(connection, home[1], "nights", list[Night])
    years = page_document(connection, home[1], "wear")["nights"]["years"]
    assert sum(each["counting"] for each in years) == sum(night.counts for night in nights)
    assert sum(each["others"] for each in years) == sum(not night.counts for night in nights)
    assert {night.year for night in nights} == {each["year"] for each in years}
    assert all(night.year == datetime.fromisoformat(night.full).year for night in nights)
    plain = page_document(connection, home[1], "nights")
    assert msgspec.to_builtins(nights) == plain


def test_without_nights_there_is_nothing_to_count() -> None:
    assert without_nights({"record": {"reason": "none"}}) == {"record": {"reason": "none"}}


def test_one_of_another_analysis_is_not_there(
    home: tuple[Database, Site], connection: Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = home[1]
    assert page_document(connection, site, "no such document") is None
    stamp = result_stamp(connection, site.id, "record")
    assert stamp is not None
    assert stamp.computed_ms == _COMPUTED_MS
    assert not is_behind(connection, site.id, stamp)
    save_record_result(
        *(connection, site.id, "older", RECORD_METHOD, b"{}"),
        mark=stamp.mark,
        computed_ms=_COMPUTED_MS - 1,
    )
    assert page_document(connection, site, "older") is None
    monkeypatch.setattr(page_documents, "RECORD_METHOD", "record-999")
    assert page_document(connection, site, "wear") is None


def test_of_a_record_that_tells_nothing_none_are_made(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "UTC", battery_ah=200.0, battery_cells=16)
    update_record(database, site, clock_ms=lambda: 1, max_gap_s=300.0)
    with closing(database.connect()) as connection:
        assert result_stamp(connection, site.id, "record") is not None
        assert result_stamp(connection, site.id, "wear") is None
    database.close()
