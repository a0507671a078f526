from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.periods import DAY_MS
from joulebook.storage.records import Series, Site, Value
from joulebook.storage.series import series_of
from joulebook.web.series.resolution import Readings, readings_for
from tests.helpers.databases import NOON_MS, studio, write

HOUR_MS = 3_600_000
#: Ten days from noon on.
SPAN = Span(NOON_MS, NOON_MS + 10 * DAY_MS)


@pytest.fixture
def connection_and_site(tmp_path: Path) -> Iterator[tuple[Connection, Site]]:
    """Power every minute for ten days, and a temperature once a day."""
    database, site = studio(tmp_path)
    rows: dict[int, dict[str, Value]] = {
        at_ms: {"power": float(at_ms // HOUR_MS % 24)}
        for at_ms in range(SPAN.start_ms, SPAN.end_ms, 60_000)
    }
    for at_ms in range(SPAN.start_ms, SPAN.end_ms, DAY_MS):
        rows[at_ms]["temperature"] = 20.0
    with closing(database.connect()) as connection:
        write(connection, site, "battery", rows)
        yield connection, site


def found(connection: Connection, site: Site, quantity: str, span: Span, width: int) -> Readings:
    return readings_for(connection, series(connection, site, quantity), span, width)


def series(connection: Connection, site: Site, quantity: str) -> Series:
    return next(each for each in series_of(connection, site.id) if each.quantity == quantity)


@pytest.mark.parametrize(
    ("hours", "width", "resolution", "bucket_ms"),
    [
        (1, 30, "raw", None),  # two readings a pixel
        (1, 29, "thinned", HOUR_MS / 29),
        (10, 40, "thinned", HOUR_MS / 4),  # a quarter hour a pixel, and no longer
        (10, 39, "quarter-hours", HOUR_MS / 2),
        (240, 100, "quarter-hours", 2.5 * HOUR_MS),
        (240, 10, "quarter-hours", 24 * HOUR_MS),
    ],
)
def test_the_width_chooses(
    connection_and_site: tuple[Connection, Site],
    hours: int,
    width: int,
    resolution: str,
    bucket_ms: float | None,
) -> None:
    span = Span(SPAN.start_ms, SPAN.start_ms + hours * HOUR_MS)
    answer = found(*connection_and_site, "power", span, width)
    assert answer.resolution == resolution
    assert answer.count == hours * 60
    assert answer.coverage_ratio == pytest.approx(1.0, abs=0.0001)
    if answer.buckets is None:
        assert bucket_ms is None
        assert answer.value.size == hours * 60
    else:
        assert answer.buckets.bucket_ms == bucket_ms
        assert answer.buckets.count.size <= width
        assert answer.buckets.count.sum() == hours * 60


def test_all_ways_show_the_same_least_and_greatest(
    connection_and_site: tuple[Connection, Site],
) -> None:
    for width in (10, 100, 400, 1000, 4000):
        buckets = found(*connection_and_site, "power", SPAN, width).buckets
        assert buckets is not None
        assert (np.nanmin(buckets.low), np.nanmax(buckets.high)) == (0.0, 23.0)


def test_what_comes_seldom_comes_as_it_is_over_any_span(
    connection_and_site: tuple[Connection, Site],
) -> None:
    years = Span(SPAN.start_ms - 2000 * DAY_MS, SPAN.end_ms + 2000 * DAY_MS)
    answer = found(*connection_and_site, "temperature", years, 400)
    assert (answer.resolution, answer.count, answer.coverage_ratio) == ("raw", 10, 0.0)
    assert answer.at_ms.tolist() == list(range(SPAN.start_ms, SPAN.end_ms, DAY_MS))
    assert answer.value.tolist() == [20.0] * 10


def test_each_bucket_tells_its_coverage(connection_and_site: tuple[Connection, Site]) -> None:
    connection, site = connection_and_site
    connection.execute(
        "DELETE FROM readings WHERE at_ms >= ? AND at_ms < ?",
        (NOON_MS + HOUR_MS, NOON_MS + 2 * HOUR_MS),
    )
    answer = found(connection, site, "power", Span(NOON_MS, NOON_MS + 4 * HOUR_MS), 4)
    assert answer.coverage is not None
    # The line to 13:00 is gone with the reading at 13:00, and so is the one to 14:00.
    assert answer.coverage.tolist() == [59 / 60, 0.0, 1.0, 1.0]
    assert answer.coverage_ratio == pytest.approx(179 / 240)


def test_nothing_measured_is_no_readings(connection_and_site: tuple[Connection, Site]) -> None:
    before = Span(SPAN.start_ms - 5 * DAY_MS, SPAN.start_ms - DAY_MS)
    answer = found(*connection_and_site, "power", before, 400)
    assert (answer.resolution, answer.count, answer.coverage_ratio) == ("raw", 0, 0.0)
    assert answer.value.size == 0
