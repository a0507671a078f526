"""UTC days and ISO weeks, against the calendar of Python's standard library."""

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.spans import Span
from joulebook.storage.periods import DAY_MS, day_of, day_period, days_of, week_period, weeks

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
instants = st.integers(min_value=-(10**13), max_value=10**13)


@settings(derandomize=True, deadline=None)
@given(at_ms=instants)
def test_days_and_weeks_are_those_of_the_calendar(at_ms: int) -> None:
    then = EPOCH + timedelta(milliseconds=at_ms)
    midnight = then.replace(hour=0, minute=0, second=0, microsecond=0)
    # ISO 8601: a week begins on Monday.
    monday = midnight - timedelta(days=then.isoweekday() - 1)
    day = day_period(day_of(at_ms))
    assert EPOCH + timedelta(milliseconds=day.start_ms) == midnight
    assert day.end_ms - day.start_ms == DAY_MS
    week = week_period(at_ms)
    assert EPOCH + timedelta(milliseconds=week.start_ms) == monday
    assert week.end_ms - week.start_ms == 7 * DAY_MS


@settings(derandomize=True, deadline=None)
@given(times=st.lists(st.integers(-3 * DAY_MS, 3 * DAY_MS), max_size=20).map(sorted))
def test_the_days_of_instants_come_once_and_in_order(times: list[int]) -> None:
    expected = sorted({(EPOCH + timedelta(milliseconds=at_ms)).toordinal() for at_ms in times})
    assert [day + EPOCH.toordinal() for day in days_of(times)] == expected


@settings(derandomize=True, deadline=None)
@given(start_ms=instants, length_ms=st.integers(0, 40 * DAY_MS))
def test_a_span_is_cut_where_weeks_begin(start_ms: int, length_ms: int) -> None:
    span = Span(start_ms, start_ms + length_ms)
    cut = list(weeks(span))
    assert [at for one in cut for at in (one.start_ms, one.end_ms)] == sorted(
        at for one in cut for at in (one.start_ms, one.end_ms)
    )
    edges = [one.start_ms for one in cut] + [cut[-1].end_ms] if cut else [start_ms]
    assert (edges[0], edges[-1]) == (span.start_ms, span.end_ms)
    for edge in edges[1:-1]:
        assert (EPOCH + timedelta(milliseconds=edge)).isoweekday() == 1
    assert all(one.end_ms - one.start_ms <= 7 * DAY_MS for one in cut)
