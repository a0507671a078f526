import pytest

from joulebook.ingest.instants import instant_of


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # CV-51: RFC 3339 §5.8 (that these are the RFC's examples: from memory).
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
        # CV-51b: a leap second, which Unix time does not have: the last millisecond before.
        ("1990-12-31T23:59:60Z", 662_687_999_999),
        ("1990-12-31T15:59:60-08:00", 662_687_999_999),
        ("2016-12-31T23:59:60.5z", 1_483_228_799_999),
        ("2026-05-28 20:26:40Z", 1_780_000_000_000),
        ("2026-05-28t20:26:40.123456789z", 1_780_000_000_123),
        ("2026-05-28T20:26:40-00:00", 1_780_000_000_000),
        ("1780000000", 1_780_000_000_000),
        ("1780000000.123", 1_780_000_000_123),
        ("1.78e9", 1_780_000_000_000),
        ("-1", -1000),
    ],
)
def test_times_that_are_read(text: str, expected: int) -> None:
    assert instant_of(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "",
        "yesterday",
        "2026-05-28",
        "2026-05-28T20:26:40",  # no offset from UTC
        "2026-05-28T20:26Z",
        "2026-05-28T20:26:40+1",
        "2026-02-30T00:00:00Z",
        "2026-05-28T24:00:00Z",
        "2026-05-28T20:26:61Z",
        "2026-05-28T20:26:40+25:00",
        "0000-01-01T00:00:00Z",
        "2026-W22-4T20:26:40Z",
        "20260528T202640Z",
        "1990-12-31T22:59:60Z",  # no leap second
        "1990-12-30T23:59:60Z",
        "1990-03-31T23:59:60Z",
        "nan",
        "inf",
        "1_780_000_000",
        "1780000000000",  # milliseconds
        "1e99",
        "0x10",
        "٣",
    ],
)
def test_times_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        instant_of(text)
