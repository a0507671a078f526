from datetime import UTC, date, datetime

import pytest

from joulebook.demo.studio import installation_date, stream


def at(*moment: int) -> int:
    return int(datetime(*moment, tzinfo=UTC).timestamp() * 1000)  # type: ignore[misc, arg-type]


@pytest.mark.parametrize(
    ("now_ms", "months", "installed"),
    [
        (at(2026, 11, 25, 18), 14, date(2025, 9, 25)),
        (at(2026, 2, 10, 18), 2, date(2025, 12, 10)),
        (at(2026, 12, 15, 18), 12, date(2025, 12, 15)),
        # The evening of the 31st where the studio is; no month is too short for the 28th.
        (at(2026, 4, 1, 3), 1, date(2026, 2, 28)),
    ],
)
def test_it_began_some_months_ago(now_ms: int, months: int, installed: date) -> None:
    assert installation_date(now_ms, months) == installed


def test_a_stream_repeats_itself_and_no_other() -> None:
    first = stream("weather", 5).random(4).tolist()
    assert stream("weather", 5).random(4).tolist() == first
    assert stream("weather", 6).random(4).tolist() != first
    assert stream("loads", 5).random(4).tolist() != first
