"""Parts of a day, by the site's clock; changes of the clocks by the IANA tz database."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from joulebook.core.spans import Span, local_day
from joulebook.web.problems import ProblemError
from joulebook.web.spans.zoom import Zoom, asked_zoom

_CHICAGO = ZoneInfo("America/Chicago")
_DAY = date(2026, 3, 3)
_HOUR_MS = 3_600_000


def zoom(start: str | None, end: str | None, day: date = _DAY) -> Zoom:
    whole = local_day(day, _CHICAGO)
    return asked_zoom(start, end, day=day, whole=whole, zone=_CHICAGO, path="/day")


def hours(found: Zoom) -> tuple[float, float]:
    """Return the part's ends, in hours since the day began."""
    start, end = (
        (at_ms - found.whole.start_ms) / _HOUR_MS
        for at_ms in (found.span.start_ms, found.span.end_ms)
    )
    return start, end


def test_without_times_it_is_the_whole_day() -> None:
    found = zoom(None, None)
    assert found.span == local_day(_DAY, _CHICAGO)
    assert not found.is_part
    assert found.query == ""


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        ("07:00", "09:30", (7.0, 9.5)),
        ("07:00", None, (7.0, 24.0)),
        (None, "01:00", (0.0, 1.0)),
        ("23:00", "24:00", (23.0, 24.0)),
        ("07:00:30", "07:03:00", (7 + 30 / 3600, 7.05)),
        # 07:00 in Chicago is 13:00 UTC in winter.
        ("2026-03-03T13:00:00.250Z", "2026-03-03T14:00:00Z", (7.0, 8.0)),
        ("07:00-06:00", "09:00-06:00", (7.0, 9.0)),
    ],
)
def test_times_are_those_of_the_clock(
    start: str | None, end: str | None, expected: tuple[float, float]
) -> None:
    found = zoom(start, end)
    assert hours(found) == pytest.approx(expected)
    assert found.is_part


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("9", "10:00"),
        ("09:00", "08:00"),
        ("09:00", "09:01"),
        ("soon", None),
        ("2026-03-02T13:00:00Z", None),
        ("2026-03-03T13:00:00", None),
        ("07:00", "25:00"),
        ("x" * 500, None),
    ],
)
def test_what_is_no_part_is_refused_with_a_way_back(start: str, end: str | None) -> None:
    with pytest.raises(ProblemError) as caught:
        zoom(start, end)
    assert caught.value.status == 422
    assert "leave both out" in str(caught.value.next_step)
    assert len(str(caught.value)) < 600


def test_an_address_leads_back_to_the_same_part() -> None:
    for start, end in (("07:00", "09:30"), ("00:00", "00:02"), ("22:15", "24:00")):
        assert zoom(start, end).query == f"?from={start}&to={end}"


def test_an_hour_that_comes_twice_is_told_apart() -> None:
    # Chicago, 1 November 2026: 02:00 becomes 01:00.
    day = date(2026, 11, 1)
    first, second = zoom("01:00", "01:30", day), zoom("01:00-06:00", "01:30-06:00", day)
    assert hours(first) == (1.0, 1.5)
    assert hours(second) == (2.0, 2.5)
    assert first.query == "?from=01:00&to=01:30"
    assert second.query == "?from=01:00:00-06:00&to=01:30:00-06:00"
    assert hours(zoom("01:00:00-06:00", "01:30:00-06:00", day)) == (2.0, 2.5)
    east = ZoneInfo("Europe/Lisbon")
    whole = local_day(date(2026, 10, 25), east)
    again = Span(whole.start_ms + 2 * _HOUR_MS, whole.start_ms + 3 * _HOUR_MS)
    lisbon = Zoom(day=date(2026, 10, 25), whole=whole, span=again, zone=east, path="/day")
    # A plus sign in an address would be read as a space.
    assert lisbon.query == "?from=01:00:00%2B00:00&to=02:00"


def urls(found: Zoom) -> dict[str, str | None]:
    return {step.name: step.url for step in found.steps()}


def test_the_parts_around_a_part() -> None:
    assert urls(zoom("07:00", "09:00")) == {
        "earlier": "/day?from=05:00&to=07:00",
        "later": "/day?from=09:00&to=11:00",
        "closer": "/day?from=07:30&to=08:30",
        "wider": "/day?from=06:00&to=10:00",
        "whole": "/day",
    }


def test_at_the_edges_of_the_day_there_is_no_further() -> None:
    assert urls(zoom("00:00", "01:00"))["earlier"] is None
    assert urls(zoom("00:30", "01:30"))["earlier"] == "/day?from=00:00&to=01:00"
    assert urls(zoom("23:00", "24:00"))["later"] is None
    assert urls(zoom("23:00", "24:00"))["wider"] == "/day?from=22:00&to=24:00"
    whole = urls(zoom(None, None))
    assert whole == {
        "earlier": None,
        "later": None,
        "closer": "/day?from=06:00&to=18:00",
        "wider": None,
        "whole": None,
    }
    assert urls(zoom("07:00", "07:02"))["closer"] is None


def test_it_says_from_when_to_when() -> None:
    assert zoom("07:00", "09:30").words == "07:00 to 09:30"
