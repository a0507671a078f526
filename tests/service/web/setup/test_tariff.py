from datetime import date
from decimal import Decimal

import pytest

from joulebook.core.money.tariff import Band, Season, Tariff, one_price
from joulebook.web.access.forms import Form
from joulebook.web.setup.tariff import (
    FIRST_ROWS,
    MOST_ROWS,
    labels_of,
    rows_shown,
    tariff_from,
)

TODAY = date(2026, 6, 11)
SIMPLE = {"currency": "EUR", "from": "2026-01-01", "import": "0,31", "export": "0.05"}
PRICE, LOW = Decimal("0.31"), Decimal("0.05")


def read(more: dict[str, str]) -> tuple[Tariff | None, dict[str, str]]:
    form = Form(SIMPLE | more)
    return tariff_from(form, TODAY), form.errors


def seasons_of(more: dict[str, str]) -> tuple[Season, ...]:
    tariff, errors = read(more)
    assert errors == {}
    assert tariff is not None
    return tariff.seasons


def test_one_price_all_day_is_enough() -> None:
    tariff, errors = read({"fixed_per_month": "11,50", "listed_dates": "2026-12-25, 2026-12-26"})
    plain = one_price(
        "EUR",
        date(2026, 1, 1),
        import_price=PRICE,
        export_price=LOW,
        fixed_per_month=Decimal("11.50"),
    )
    assert errors == {}
    assert tariff is not None
    assert tariff.fixed_per_month == plain.fixed_per_month
    assert tariff.listed_dates == (date(2026, 12, 25), date(2026, 12, 26))
    assert tariff.seasons == plain.seasons


def test_without_a_first_day_it_holds_from_today() -> None:
    tariff, _ = read({"from": ""})
    assert tariff is not None
    assert tariff.from_day == TODAY


def test_a_row_over_midnight_leaves_the_rest_of_the_day_at_the_other_price() -> None:
    (season,) = seasons_of({"r1_from": "22:00", "r1_to": "6:00", "r1_import": "0.1"})
    night, *rest = season.bands
    assert night == Band(
        from_minute=1320, to_minute=360, import_price=Decimal("0.1"), export_price=LOW
    )
    assert {(band.from_minute, band.to_minute, band.import_price) for band in rest} == {
        (360, 1320, PRICE)
    }


def test_a_row_of_workdays_in_summer_by_hand() -> None:
    row = {"r1_from": "14:00", "r1_to": "20:00", "r1_import": "0.5", "r1_export": "0.2"}
    when = {"r1_days": "weekdays", "r1_first": "06-01", "r1_last": "09-30"}
    seasons = seasons_of(row | when)
    assert [(season.first, season.last) for season in seasons] == [
        ((1, 1), (5, 31)),
        ((6, 1), (9, 30)),
        ((10, 1), (12, 31)),
    ]
    tariff = Tariff(currency="EUR", from_day=date(2026, 1, 1), seasons=seasons)
    summer = tariff.season_of(date(2026, 7, 14)).bands
    told = [(each.days, each.from_minute, each.to_minute, each.import_price) for each in summer]
    assert told == [
        (("weekdays",), 840, 1200, Decimal("0.5")),
        (("weekdays",), 0, 840, PRICE),
        (("weekdays",), 1200, 1440, PRICE),
        (("weekend", "listed"), 0, 1440, PRICE),
    ]
    assert summer[0].export_price == Decimal("0.2")


def test_a_season_over_new_year_and_the_end_of_february() -> None:
    row = {"r1_import": "0.4", "r1_first": "12-01", "r1_last": "02-28"}
    seasons = seasons_of(row)
    assert [(season.first, season.last) for season in seasons] == [
        ((1, 1), (2, 29)),
        ((3, 1), (11, 30)),
        ((12, 1), (12, 31)),
    ]
    assert seasons[0].bands == (Band(import_price=Decimal("0.4"), export_price=LOW),)


def test_rows_that_overlap_are_named_at_the_second() -> None:
    rows = {
        "r1_from": "00:00",
        "r1_to": "08:00",
        "r1_import": "0.1",
        "r2_from": "07:00",
        "r2_to": "09:00",
        "r2_import": "0.2",
    }
    tariff, errors = read(rows)
    assert tariff is None
    assert errors == {
        "r2_from": "bands 1 and 2 both hold at 07:00 on weekdays."
        " Expected: bands that do not overlap."
    }


@pytest.mark.parametrize(
    ("more", "field", "fault"),
    [
        ({"currency": ""}, "currency", "This is needed."),
        ({"import": ""}, "import", "This is needed."),
        ({"import": "cheap"}, "import", "A number such as 0.31."),
        ({"import": "nan"}, "import", "A number such as 0.31."),
        ({"import": "1e9"}, "import", "1E+9 does not do"),
        ({"export": "0.0000001"}, "export", "1E-7 is too exact"),
        ({"fixed_per_day": "1e9"}, "fixed_per_day", "1E+9 does not do"),
        ({"from": "1999-12-31"}, "from", "1999-12-31 does not do"),
        ({"from": "soon"}, "from", "A date as 2026-11-25"),
        ({"listed_dates": "Christmas"}, "listed_dates", "Christmas is no date"),
        ({"r1_from": "7", "r1_import": "1"}, "r1_from", "A quarter of an hour"),
        ({"r1_from": "07:10", "r1_import": "1"}, "r1_from", "A quarter of an hour"),
        ({"r1_to": "24:15", "r1_import": "1"}, "r1_to", "A quarter of an hour"),
        ({"r1_from": "07:00"}, "r1_import", "This is needed."),
        ({"r1_from": "07:00", "r1_to": "07:00", "r1_import": "1"}, "r1_to", "the band has no"),
        ({"r1_import": "1", "r1_first": "13-01"}, "r1_first", "A month and a day such as 04-01."),
        ({"r1_import": "1", "r1_last": "summer"}, "r1_last", "A month and a day such as 04-01."),
        ({"r2_import": "1", "r2_days": "someday"}, "r2_days", "One of all, weekdays"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(more: dict[str, str], field: str, fault: str) -> None:
    tariff, errors = read(more)
    assert tariff is None
    assert errors[field].startswith(fault)


def test_what_is_about_no_field_stands_above_the_form() -> None:
    # Every other week of thirteen is a season of its own, and so is what lies between.
    rows: dict[str, str] = {"rows": str(MOST_ROWS)}
    for row in range(1, 14):
        month, day = divmod(row - 1, 2)
        first = day * 14 + 2
        rows |= {
            f"r{row}_first": f"{month + 1:02d}-{first:02d}",
            f"r{row}_last": f"{month + 1:02d}-{first + 6:02d}",
            f"r{row}_import": "1",
        }
    tariff, errors = read(rows)
    assert tariff is None
    assert errors[""] == "there are 27 seasons. Expected: 1 to 12."


def test_a_row_without_hours_and_price_is_left_out() -> None:
    assert len(seasons_of({"r1_first": "06-01", "r1_days": "weekend"})) == 1


def test_rows_grow_by_two_up_to_an_end() -> None:
    assert rows_shown(Form()) == FIRST_ROWS
    assert rows_shown(Form({"rows": "2", "more": "yes"})) == 4
    assert rows_shown(Form({"rows": "999", "more": "yes"})) == MOST_ROWS
    assert rows_shown(Form({"rows": "many"})) == FIRST_ROWS
    assert rows_shown(Form({"rows": "-5"})) == FIRST_ROWS


def test_every_field_has_a_name_in_words() -> None:
    labels = labels_of(2)
    assert labels["r2_import"] == "Row 2, a kwh bought costs"
    assert labels["currency"] == "Currency"
