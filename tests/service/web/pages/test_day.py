from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Value
from joulebook.summaries.recompute import recompute
from tests.helpers.databases import write
from tests.helpers.pages import HOUR_MS, NOW_MS, Studio, client_of, outline, words_of


def words(studio: Studio, day: str) -> str:
    return words_of(studio.client.get(f"/sites/studio/days/{day}").text)


def test_it_leads_with_the_answer(studio: Studio) -> None:
    text = words(studio, "2026-02-24")
    assert "Tuesday 24 February 2026" in text
    assert "On this day the panels made 36 kWh and the studio used 24 kWh;" in text
    assert "Measured: 100 % of the time." in text


def test_today_is_so_far(studio: Studio) -> None:
    text = words(studio, "2026-03-04")
    assert "Wednesday 4 March 2026, so far" in text
    assert "Today the panels made 18 kWh and the studio used 12 kWh" in text
    assert "4 March 2026, from local midnight to now" in text


def test_a_gap_is_in_no_number_and_in_no_hour(studio: Studio) -> None:
    text = words(studio, "2026-03-03")
    assert "Measured: 74 % of the time. What was not measured is not in these numbers." in text
    assert "05:00 1.50 1.00 0.00 0.40 48" in text
    assert "06:00 \N{EN DASH} \N{EN DASH} \N{EN DASH} \N{EN DASH} \N{EN DASH}" in text
    assert "12:00 1.50 1.00 \N{MINUS SIGN}0.80 \N{MINUS SIGN}0.40 68" in text


def test_hours_that_have_not_begun_are_not_there(studio: Studio) -> None:
    text = words(studio, "2026-03-04")
    assert "11:00 1.50" in text
    assert "12:00" not in text.partition("Hour by hour")[2]


def test_it_leads_to_the_days_around_and_to_the_week(studio: Studio) -> None:
    links = outline(studio.client.get("/sites/studio/days/2026-02-24").text).named("a")
    assert {"href": "/sites/studio/days/2026-02-23", "rel": "prev"} in links
    assert {"href": "/sites/studio/days/2026-02-25", "rel": "next"} in links
    assert {"class": "step", "href": "/sites/studio?week=2026-W09"} in links


@pytest.mark.parametrize(("day", "missing"), [("2026-02-23", "prev"), ("2026-03-04", "next")])
def test_it_leads_nowhere_beyond_the_readings(studio: Studio, day: str, missing: str) -> None:
    links = outline(studio.client.get(f"/sites/studio/days/{day}").text).named("a")
    assert not any(link.get("rel") == missing for link in links)


def test_a_day_without_readings_leads_to_those_with_some(studio: Studio) -> None:
    text = words(studio, "2026-03-01")
    assert "Nothing was measured on this day." in text
    assert "Readings begin on 23 February 2026 and end on 4 March 2026" in text
    assert "kWh Total" not in text


def test_a_day_of_an_empty_site(empty: Studio) -> None:
    text = words(empty, "2026-03-04")
    assert "No reading has come in yet." in text


def test_a_day_that_is_not_summed_up_yet_shows_what_there_is(empty: Studio) -> None:
    with closing(empty.database.connect()) as connection:
        write(connection, empty.site, "pv", {NOW_MS - HOUR_MS: {"power": 500.0}})
    page = outline(empty.client.get("/sites/studio/days/2026-03-04").text)
    assert "The readings of this day are being summed up." in page.text
    assert "not given: the readings of this day are not summed up yet" in page.text
    assert any("data-figure" in place for place in page.named("div"))


def test_a_day_that_has_not_begun_leads_to_today(studio: Studio) -> None:
    answer = studio.client.get("/sites/studio/days/2026-03-05", headers={"accept": "text/html"})
    assert answer.status_code == 404
    page = outline(answer.text)
    assert "5 March 2026 has not begun at the studio." in page.text
    assert {"class": "step", "href": "/sites/studio/days/2026-03-04"} in page.named("a")


def test_the_devices_own_counters_stand_beside_the_numbers(empty: Studio) -> None:
    # By hand: 300 Wh an hour on the counter while the power says 250 W; then it starts anew.
    rows: dict[int, dict[str, Value]] = {
        NOW_MS - HOUR_MS * 2 + step * 300_000: {"power": 250.0, "energy": 5_000.0 + 25.0 * step}
        for step in range(24)
    }
    columns = [Column("power", "W"), Column("energy", "Wh")]
    anew = {
        at_ms: {**row, "energy": number * 1e-3} for number, (at_ms, row) in enumerate(rows.items())
    }
    with closing(empty.database.connect()) as connection:
        write(connection, empty.site, "pv", rows, columns)
        write(connection, empty.site, "load", {**rows, **dict(list(anew.items())[12:])}, columns)
    recompute(empty.database, empty.site, clock_ms=lambda: NOW_MS)
    text = words(empty, "2026-03-04")
    assert "By the device's own counter 0.6 kWh (0.6\N{EN DASH}0.6)" in text
    assert "method counter-1" in text
    assert "By the device's own counter not given: the counter" in text


def test_what_is_no_day(studio: Studio) -> None:
    answer = studio.client.get("/sites/studio/days/yesterday")
    assert answer.status_code == 422
    assert answer.json()["where"] == "the address, after /days/"


def test_today_goes_to_the_sites_own_date(studio: Studio) -> None:
    answer = studio.client.get("/sites/studio/today")
    assert (answer.status_code, answer.headers["location"]) == (
        307,
        "/sites/studio/days/2026-03-04",
    )


def test_a_day_of_25_hours_has_25_rows(tmp_path: Path) -> None:
    # IANA tz database: New York put its clocks back at 02:00 on 1 November 2026, 06:00 UTC.
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "America/New_York")
    start_ms = 1_793_505_600_000  # 2026-11-01T04:00:00Z, local midnight
    rows = {start_ms + hour * HOUR_MS: {"power": 1000.0 * hour} for hour in range(25)}
    with closing(database.connect()) as connection:
        write(connection, site, "load", rows)
    client = client_of(database, now_ms=start_ms + 40 * HOUR_MS)
    text = words_of(client.get("/sites/studio/days/2026-11-01").text)
    assert "The clocks change on this day: it has 25.0 hours." in text
    assert "00:00 0.00 01:00 1.00 01:00 2.00 02:00 3.00" in text
    assert text.partition("Hour by hour")[2].count(":00 ") == 25


def test_a_date_that_the_zone_skipped(tmp_path: Path) -> None:
    # IANA tz database: Apia went from 29 to 31 December 2011.
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Pacific/Apia")
    with closing(database.connect()) as connection:
        write(connection, site, "load", {1_772_625_600_000: {"power": 1.0}})
    text = words_of(client_of(database).get("/sites/studio/days/2011-12-30").text)
    assert "skipped this date: it has no hours" in text
