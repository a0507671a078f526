from datetime import date
from zoneinfo import ZoneInfo

import pytest

from joulebook.web.region import formats


def plain(text: str) -> str:
    """Return a text with ordinary spaces and hyphens, as one types it."""
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MINUS SIGN}", "-")


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(1.25, 1, "1.2"), (-1.5, 0, "-2"), (-0.04, 1, "0.0"), (0, 2, "0.00"), (-10, 0, "-10")],
)
def test_a_number_has_its_decimals_and_no_minus_before_zero(
    value: float, digits: int, text: str
) -> None:
    assert plain(formats.fixed(value, digits)) == text


def test_the_minus_is_the_true_one() -> None:
    # Unicode: U+2212 MINUS SIGN.
    assert formats.fixed(-2, 0) == "\u22122"


@pytest.mark.parametrize(
    ("value", "figures", "text"),
    [(0, 2, "0"), (0.0123, 2, "0.012"), (4.07, 2, "4.1"), (61.4, 2, "61"), (9.96, 2, "10"),
     (1234, 2, "1200"), (-4.07, 2, "-4.1")],
)  # fmt: skip
def test_significant_figures(value: float, figures: int, text: str) -> None:
    assert plain(formats.significant(value, figures)) == text


@pytest.mark.parametrize(
    ("wh", "text"),
    [(None, "not given"), (61_400, "61 kWh"), (4_070, "4.1 kWh"), (123_456, "123 kWh"),
     (40, "0.04 kWh"), (0, "0.00 kWh"), (-4_070, "-4.1 kWh")],
)  # fmt: skip
def test_energy_in_a_sentence(wh: float | None, text: str) -> None:
    assert plain(formats.kwh_words(wh)) == text


def test_energy_in_a_table() -> None:
    assert formats.kwh_cell(61_449) == "61.4"
    assert formats.kwh_whole(61_449) == "61"
    assert formats.kwh_interval(60_000, 62_000) == "60.0\N{EN DASH}62.0"


def test_an_interval_from_below_zero_is_written_with_a_word() -> None:
    assert plain(formats.kwh_interval(-500, 1_000)) == "-0.5 to 1.0"


def test_nothing_is_never_a_number() -> None:
    assert formats.kwh_cell(None) == "not given"
    assert formats.kwh_whole(None) == "not given"
    assert formats.kwh_interval(None, 1.0) == "not given"
    assert formats.interval(1.0, None, 0) == "not given"
    assert formats.percent(None) == "not given"
    assert formats.percent_interval(None, 0.5) == "not given"
    assert formats.kw_cell(None) == "\N{EN DASH}"


def test_ratios_are_per_cent_on_a_page() -> None:
    assert plain(formats.percent(0.9183)) == "91.8 %"
    assert formats.percent_interval(0.9, 0.95) == "90.0\N{EN DASH}95.0"


@pytest.mark.parametrize(
    ("ratio", "text"),
    [(1.0, "100 %"), (0.99999, "99.9 %"), (0.991, "99.1 %"), (0.9899, "98 %"), (0.29, "29 %"),
     (0.004, "< 1 %"), (0.0, "0 %")],
)  # fmt: skip
def test_coverage_is_rounded_down(ratio: float, text: str) -> None:
    assert plain(formats.measured(ratio)) == text


@pytest.mark.parametrize(
    ("value", "unit", "quantity", "text"),
    [
        (53.14, "V", "voltage", "53.1 V"),
        (3.3333, "V", "cell_voltage_min", "3.333 V"),
        (999.6, "W", "power", "1000 W"),
        (-1240.0, "W", "power", "-1.24 kW"),
        (12_340.0, "Wh", "energy", "12.3 kWh"),
        (0.64, "/", "soc", "64 %"),
        (21.46, "Cel", "temperature", "21.5 °C"),
        (59.987, "Hz", "frequency", "59.99 Hz"),
        (7.0, "", "stage", "7.00"),
        (1.5, "l/s", "flow", "1.50 l/s"),
        ("inverting", "", "mode", "inverting"),
        (True, "", "fan", "yes"),
        (False, "", "fan", "no"),
        (None, "W", "power", "missing"),
    ],
)
def test_a_reading_with_its_unit(
    value: float | str | bool | None, unit: str, quantity: str, text: str
) -> None:
    assert plain(formats.value_text(value, unit, quantity)) == text


def test_power_in_a_table() -> None:
    assert plain(formats.kw_cell(-1_236.0)) == "-1.24"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(-3, "0 s ago"), (4.9, "4 s ago"), (59, "59 s ago"), (60, "1 min ago"), (3599, "59 min ago"),
     (3600, "1 h 0 min ago"), (86_399, "23 h 59 min ago"), (86_400, "1 day ago"),
     (200_000, "2 days ago")],
)  # fmt: skip
def test_how_long_ago(seconds: float, text: str) -> None:
    assert plain(formats.age(seconds)) == text


def test_devices_have_a_word_for_people() -> None:
    assert formats.device_label("battery") == "Battery"
    assert formats.device_label("battery-2") == "Battery 2"
    assert formats.device_label("kiln") == "kiln"


def test_a_method_is_described_on_its_page() -> None:
    assert formats.method_pages("round-trip-1") == "docs/methods/round-trip.md"
    assert formats.method_pages("sum-1 of trapezoid-12") == (
        "docs/methods/sum.md, docs/methods/trapezoid.md"
    )


def test_dates() -> None:
    day = date(2026, 11, 25)
    assert plain(formats.day_long(day)) == "Wednesday 25 November 2026"
    assert plain(formats.day_short(day)) == "Wed 25"
    assert formats.month_long(day) == "November 2026"
    assert plain(formats.month_short(day)) == "Nov 2026"


@pytest.mark.parametrize(
    ("first", "last", "text"),
    [
        (date(2026, 11, 23), date(2026, 11, 29), "23 to 29 November 2026"),
        (date(2026, 11, 30), date(2026, 12, 6), "30 November to 6 December 2026"),
        (date(2026, 12, 28), date(2027, 1, 3), "28 December 2026 to 3 January 2027"),
    ],
)
def test_a_week_names_month_and_year_once(first: date, last: date, text: str) -> None:
    assert plain(formats.days_between(first, last)) == text


def test_times_are_those_of_the_site() -> None:
    # IANA tz database: New York was at UTC-5 (EST) on 25 November 2026's rules. By hand:
    # 2026-11-25T12:05:00Z is 1795608300 s since the epoch.
    zone = ZoneInfo("America/New_York")
    assert formats.clock(1_795_608_300_000, zone) == "07:05"
    assert plain(formats.moment(1_795_608_300_000, zone)) == "25 November 2026 07:05 EST"


def test_dates_of_documents_and_quarters() -> None:
    assert plain(formats.iso_plain("2026-11-25T18:00-05:00")) == "25 November 2026"
    assert plain(formats.iso_brief("2026-11-05")) == "5 Nov 2026"
    names = [plain(formats.quarter(date(2026, month, 1))) for month in (1, 3, 4, 12)]
    assert [name.replace("\N{EN DASH}", "-") for name in names] == [
        "Jan-Mar 2026", "Jan-Mar 2026", "Apr-Jun 2026", "Oct-Dec 2026",
    ]  # fmt: skip


def test_a_difference_has_its_sign() -> None:
    texts = [plain(formats.signed(value, 1)) for value in (1.25, -1.25, 0.0, 0.04)]
    assert texts == ["+1.2", "-1.2", "0.0", "0.0"]


def test_odds_are_never_quite_nothing_or_all() -> None:
    odds = (1.0, 0.991, 0.99, 0.5, 0.01, 0.0)
    assert [plain(formats.odds(each)) for each in odds] == [
        "more than 99 %", "more than 99 %", "99 %", "50 %", "1 %", "less than 1 %",
    ]  # fmt: skip
