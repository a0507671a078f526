"""Regions against babel's own formatting, which is that of the Unicode CLDR."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from babel import Locale, localedata
from babel.dates import format_date, format_time
from babel.numbers import format_decimal

from joulebook.web.figures.layout import base_layout
from joulebook.web.figures.palette import PALETTES
from joulebook.web.region import formats
from joulebook.web.region.choices import region_choices
from joulebook.web.region.regions import (
    HOUSE,
    Region,
    asked_region,
    current,
    read_in,
    region_of,
    settle,
)

_DAY = date(2026, 11, 25)
_AT = datetime(2026, 11, 25, 17, 5, tzinfo=UTC)
_MS = round(_AT.timestamp() * 1000)
_ZONE = ZoneInfo("UTC")
_ENGLISH = (
    *("en-US", "en-GB", "en-CA", "en-DE", "en-FR", "en-DK", "en-FI", "en-AU", "en-IN", "en-NZ"),
    *("en-IE", "en-CH", "en-NL", "en-PH", "en-SG"),
)


def plain(text: str) -> str:
    """Return a text with ordinary spaces."""
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def found(tag: str) -> Region:
    """Return the region of a tag that has one."""
    region = region_of(tag)
    assert region is not None, tag
    return region


@pytest.mark.parametrize("tag", _ENGLISH)
def test_an_english_region_writes_dates_and_times_as_the_cldr_does(tag: str) -> None:
    locale = Locale.parse(tag, sep="-")
    with read_in(found(tag)):
        assert plain(formats.day_plain(_DAY)) == plain(format_date(_DAY, "long", locale))
        clock = plain(format_time(_AT, "short", locale=locale))
        # Some write "pm" or "p.m."; PM is read everywhere.
        assert plain(formats.clock(_MS, _ZONE)) == clock.replace(".m.", "m").upper()


def test_every_locale_that_has_a_region_writes_numbers_as_the_cldr_does() -> None:
    for name in localedata.locale_identifiers():
        locale = Locale.parse(name)
        symbols = locale.number_symbols["latn"]
        if locale.territory is None or symbols["decimal"] not in ".,":
            continue
        with read_in(found(name.replace("_", "-"))):
            # Groups of three, as in all but some regions of the CLDR, where it writes 12,34,567.
            told = format_decimal(12_345.5, "#,##0.0", locale, numbering_system="latn")
            if symbols["group"] in ",.'\u00a0\u202f\u2019":
                assert formats.fixed(12_345.5, 1) == told, name
            else:  # a mark of another script among European digits
                assert plain(formats.fixed(12_345.5, 1)) == f"12 345{symbols['decimal']}5", name


def test_days_stand_in_the_order_of_the_region() -> None:
    # Orders: CLDR, date format "long" of en-US and ja-JP; English words are ours.
    first, other_month, other_year = date(2026, 11, 23), date(2026, 12, 6), date(2027, 1, 3)
    with read_in(found("en-US")):
        assert plain(formats.day_long(_DAY)) == "Wednesday, November 25, 2026"
        assert plain(formats.day_brief(_DAY)) == "Nov 25, 2026"
        assert plain(formats.days_between(first, _DAY)) == "November 23 to 25, 2026"
        assert plain(formats.days_between(first, other_month)) == (
            "November 23 to December 6, 2026"
        )
        assert plain(formats.days_between(first, other_year)) == (
            "November 23, 2026 to January 3, 2027"
        )
        assert plain(formats.moment(_MS, _ZONE)) == "November 25, 2026 5:05 PM UTC"
    with read_in(found("ja-JP")):
        assert plain(formats.day_long(_DAY)) == "Wednesday 2026 November 25"
        assert plain(formats.day_brief(_DAY)) == "2026 Nov 25"
        assert plain(formats.days_between(first, _DAY)) == "2026 November 23 to 25"


@pytest.mark.parametrize(
    ("hour", "clock", "tick"), [(0, "12:00 AM", "12 AM"), (12, "12:00 PM", "12 PM")]
)
def test_a_clock_of_half_days_has_no_hour_nought(hour: int, clock: str, tick: str) -> None:
    at_ms = round(_AT.replace(hour=hour, minute=0).timestamp() * 1000)
    with read_in(found("en-US")):
        assert plain(formats.clock(at_ms, _ZONE)) == clock
        assert plain(formats.clock_tick(at_ms, _ZONE)) == tick
    assert formats.clock_tick(at_ms, _ZONE) == f"{hour:02}:00"


def test_numbers_of_four_digits_stay_whole_and_minus_stays_true() -> None:
    with read_in(found("de")):
        assert formats.fixed(1234.5, 1) == "1234,5"
        assert formats.fixed(-12345.5, 1) == "\u221212.345,5"
        assert formats.fixed(-0.04, 1) == "0,0"
        assert formats.signed(-0.04, 1) == "0,0"
        assert formats.signed(0.25, 2) == "+0,25"
        assert formats.significant(0.0123, 2) == "0,012"


def test_nobody_who_told_nothing_reads_anything_new() -> None:
    assert current() is HOUSE
    assert formats.fixed(12345.5, 1) == "12345.5"
    assert formats.moment(_MS, _ZONE) == "25\u00a0November 2026 17:05 UTC"


def test_what_plotly_writes_follows_the_region() -> None:
    palette = PALETTES["light"]
    # Plotly's reference, layout.separators: decimal first, then thousands.
    assert base_layout(palette, height=1)["separators"] == ".\u202f"
    # Which apostrophe the Swiss write was changed by the CLDR that babel 2.19 brings.
    group = Locale.parse("de_CH").number_symbols["latn"]["group"]
    assert group in ("'", "\u2019")
    with read_in(found("de-CH")):
        assert base_layout(palette, height=1)["separators"] == f".{group}"


@pytest.mark.parametrize(
    ("header", "tag"),
    [
        # RFC 9110, 12.5.4: weights from 0 to 1, 1 where none is given, 0 for "not acceptable".
        ("da, en-gb;q=0.8, en;q=0.7", "da"),
        ("en;q=0.5, de-AT;q=0.9, fr", "fr"),
        ("en-US,en;q=0.9", "en-US"),
        ("en, de;q=0.4", "de"),  # English alone tells no region
        ("fr;q=0, nl;q=0.1", "nl"),
        ("de;q=many, sv;q=0.1", "sv"),
        ("de;level=1", "de"),
        ("zh-Hant-TW", "zh-Hant-TW"),
        ("en", None),
        ("*", None),
        ("", None),
        ("xx, en-QQ, i-klingon, " + "a" * 5000, None),
    ],
)
def test_the_first_language_that_names_a_region_counts(header: str, tag: str | None) -> None:
    region = asked_region(header)
    assert (None if region is None else region.tag) == tag


def test_a_language_without_its_own_form_there_takes_that_of_the_place() -> None:
    # Nobody's English is that of Brazil, but Brazil's separators are known.
    assert found("en-BR").decimal == ","


def test_a_site_settles_it_unless_the_reader_chose() -> None:
    settle("en-US")  # outside of a request there is nobody to write for
    assert current() is HOUSE
    with read_in(HOUSE, chosen=False):
        settle(None)
        settle("nonsense")
        assert current() is HOUSE
        settle("en-US")
        assert current().half_days
    with read_in(HOUSE):
        settle("en-US")
        assert current() is HOUSE


def test_every_place_can_be_chosen_and_is_named_in_english() -> None:
    choices = region_choices()
    assert ("en-DE", "Germany") in choices
    assert len(choices) > 200
    assert [name for _, name in choices] == sorted(name for _, name in choices)
    assert all(region_of(tag) is not None for tag, _ in choices)
    assert not {"en-ZZ", "en-EU", "en-001"} & {tag for tag, _ in choices}


def test_sentences_of_the_floors_below_are_told_in_the_region_too() -> None:
    sentence = "it was heard for 80.7% of the time, with 2 gaps."
    assert formats.told(sentence) == "it was heard for 80.7\u00a0% of the time, with 2 gaps."
    with read_in(found("de")):
        assert formats.told(sentence) == "it was heard for 80,7\u00a0% of the time, with 2 gaps."
