from datetime import date
from zoneinfo import ZoneInfo

import pytest

from joulebook.core.spans import Span
from joulebook.web.asked import asked_date, asked_days, asked_span, asked_week, asked_width
from joulebook.web.problems import ProblemError

_LISBON = ZoneInfo("Europe/Lisbon")
_NOW_MS = 1_772_625_600_000  # 2026-03-04T12:00:00Z
_DAY_MS = 86_400_000


def span(start: str | None, end: str | None) -> Span:
    return asked_span(start, end, zone=_LISBON, now_ms=_NOW_MS)


def test_a_date() -> None:
    assert asked_date("2026-02-28", where="here") == date(2026, 2, 28)


@pytest.mark.parametrize(
    "text",
    ["2026-02-29", "20260228", "2026-2-8", "2026-W09-6", "1999-12-31", "2200-01-01", "", "x" * 10],
)
def test_what_is_no_date_of_ours(text: str) -> None:
    with pytest.raises(ProblemError) as raised:
        asked_date(text, where="query parameter 'from'")
    assert raised.value.status == 422
    assert raised.value.where == "query parameter 'from'"
    assert "2026-11-25" in raised.value.expected


def test_days_with_open_ends() -> None:
    assert asked_days(None, None) == (None, None)
    assert asked_days("2026-03-01", None) == (date(2026, 3, 1), None)
    assert asked_days("2026-03-01", "2026-03-01") == (date(2026, 3, 1), date(2026, 3, 1))


def test_days_in_the_wrong_order() -> None:
    with pytest.raises(ProblemError) as raised:
        asked_days("2026-03-02", "2026-03-01")
    assert raised.value.kind == "span-reversed"


def test_too_many_days() -> None:
    assert asked_days("2026-03-01", "2026-03-02", max_days=2)
    with pytest.raises(ProblemError) as raised:
        asked_days("2026-03-01", "2026-03-03", max_days=2)
    assert raised.value.kind == "span-too-long"


def test_a_week_is_this_one_unless_named() -> None:
    assert asked_week(None, today=date(2026, 11, 25)).name == "2026-W48"
    assert asked_week("2026-W01", today=date(2026, 11, 25)).name == "2026-W01"


@pytest.mark.parametrize("name", ["soon", "2026-W60", "1999-W01", "0000-W01"])
def test_what_is_no_week_of_ours(name: str) -> None:
    with pytest.raises(ProblemError) as raised:
        asked_week(name, today=date(2026, 11, 25))
    assert raised.value.kind == "invalid-week"


def test_readings_are_those_of_the_last_day_unless_asked_otherwise() -> None:
    assert span(None, None) == Span(_NOW_MS - _DAY_MS, _NOW_MS)


def test_a_date_means_the_local_day_and_the_last_one_is_included() -> None:
    # IANA tz database: Lisbon put its clocks forward on 29 March 2026, a day of 23 hours.
    asked = span("2026-03-29", "2026-03-29")
    assert asked.length_s == 23 * 3600


def test_an_instant_may_stand_in_any_offset() -> None:
    # RFC 3339 section 5.8: both name the same instant in different offsets.
    assert span("2026-03-04T10:00:00Z", "2026-03-04T12:30:00+01:00") == Span(
        _NOW_MS - 7_200_000, _NOW_MS - 1_800_000
    )


@pytest.mark.parametrize("text", ["yesterday", "2026-03-04T10:00:00", "1990-01-01T00:00:00Z", ""])
def test_what_is_no_instant(text: str) -> None:
    with pytest.raises(ProblemError) as raised:
        span(text, None)
    assert raised.value.kind == "invalid-instant"


def test_readings_in_the_wrong_order() -> None:
    with pytest.raises(ProblemError) as raised:
        span("2026-03-05", None)
    assert raised.value.kind == "span-reversed"
    assert "now" in raised.value.what
    with pytest.raises(ProblemError) as raised:
        span("2026-03-05", "2026-03-04")
    assert raised.value.kind == "span-reversed"


def test_eleven_years_of_readings_fit_and_no_more() -> None:
    # 4000 days of Lisbon; they begin in summer time and end in winter, and have an hour more.
    assert span("2020-04-01", "2031-03-14").length_s == 4000 * 86_400 + 3_600
    with pytest.raises(ProblemError) as raised:
        span("2020-04-01", "2031-03-15")
    assert raised.value.kind == "span-too-long"


def test_a_width() -> None:
    assert asked_width(None) == 400
    assert asked_width("390") == 390


@pytest.mark.parametrize("text", ["9", "4001", "-5", "1e3", "", "\u0663\u0669\u0660", "9" * 5000])
def test_what_is_no_width(text: str) -> None:
    with pytest.raises(ProblemError) as raised:
        asked_width(text)
    assert raised.value.kind == "invalid-width"
    assert len(raised.value.what) < 100
