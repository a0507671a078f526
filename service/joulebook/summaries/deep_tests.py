"""A site's guided deep-discharge tests: how far the one under way is, and what came of others."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass

from joulebook.core.battery.anchors import Measured, measure
from joulebook.core.battery.deep_test import DeepTestResult, result_of
from joulebook.core.battery.deep_test_progress import Progress, progress_of
from joulebook.core.battery.low_anchors import LONGEST_FROM_FULL_H
from joulebook.core.battery.low_balances import LONGEST_BACK_H
from joulebook.core.history import MS_PER_DAY, MS_PER_HOUR, PackHistory
from joulebook.core.spans import Span
from joulebook.storage.database import Connection, Database
from joulebook.storage.deep_tests import DeepTest, deep_tests_of
from joulebook.storage.records import Site
from joulebook.summaries.histories import NoRecordError, read_history

#: The charge voltage and the resistance are read from so long before a test. [days]
DAYS_BEFORE = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class DeepTestReport:
    """One test with what is known of it.

    Attributes
    ----------
    test : DeepTest
        As planned.
    progress : Progress or None
        Of a test under way.
    result : DeepTestResult or None
        Of a test that was ended after it had begun.
    why_not : str or None
        Why neither can be told, where there should be one.
    """

    test: DeepTest
    progress: Progress | None = None
    result: DeepTestResult | None = None
    why_not: str | None = None


def deep_test_reports(
    database: Database, site: Site, *, now_ms: int, max_gap_s: float
) -> Sequence[DeepTestReport]:
    """Return a site's tests in the order they were planned, computed from its readings as they are.

    Parameters
    ----------
    now_ms : int
        Readings up to now tell how far a test is. [ms, UTC epoch]
    max_gap_s : float
        No line bridges more. [s]
    """
    with closing(database.connect()) as connection:
        return [
            _report(connection, site, test, now_ms=now_ms, max_gap_s=max_gap_s)
            for test in deep_tests_of(connection, site.id)
        ]


def _report(
    connection: Connection, site: Site, test: DeepTest, *, now_ms: int, max_gap_s: float
) -> DeepTestReport:
    if test.started_ms is None:
        return DeepTestReport(test=test)
    # Up to the full charge after it, which may come some days later.
    after_ms = now_ms if test.ended_ms is None else test.ended_ms
    after_ms += round((LONGEST_FROM_FULL_H + LONGEST_BACK_H) * MS_PER_HOUR)
    span = Span(test.started_ms - round(DAYS_BEFORE * MS_PER_DAY), min(now_ms + 1, after_ms))
    try:
        history = read_history(connection, site, max_gap_s=max_gap_s, span=span).pack
    except NoRecordError as error:
        return DeepTestReport(test=test, why_not=str(error))
    return _measured(test, test.started_ms, history, measure(history))


def _measured(
    test: DeepTest, started_ms: int, history: PackHistory, measured: Measured
) -> DeepTestReport:
    if test.ended_ms is None:
        progress = progress_of(history, measured, test.target, started_ms=started_ms)
        return DeepTestReport(test=test, progress=progress)
    result = result_of(
        *(history, measured, test.target), started_ms=started_ms, ended_ms=test.ended_ms
    )
    return DeepTestReport(test=test, result=result)
