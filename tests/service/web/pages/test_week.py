from contextlib import closing
from datetime import date

from joulebook.web.pages.week import day_lines
from joulebook.web.spans.weeks import Week
from tests.helpers.databases import write
from tests.helpers.day_results import a_day
from tests.helpers.pages import HOUR_MS, NOW_MS, Studio, client_of, outline, words_of


def words(studio: Studio, query: str = "") -> str:
    return words_of(studio.client.get(f"/sites/studio{query}").text)


def test_it_leads_with_the_answer(studio: Studio) -> None:
    # By hand, see the helper: a whole week is 7 days of 36, 24 and 2.4 kWh, here without Sunday.
    text = words(studio, "?week=2026-W09")
    assert "23 February to 1 March 2026" in text
    assert (
        "In this week the panels made 216 kWh and the studio used 144 kWh;"
        " 14 kWh were lost on the way."
    ) in text
    assert "Measured: 85 % of the time." in text


def test_each_total_stands_beside_its_interval_and_its_coverage(studio: Studio) -> None:
    text = words(studio, "?week=2026-W09")
    # By hand: 6 * 36 kWh less 1500 W for the last five minutes of Saturday; 1 % limits of a
    # meter, taken as uniform, are 0.95 % at 90 % (1.6449 / sqrt 3).
    assert "Made by the panels 215.9 213.8\N{EN DASH}217.9 85 %" in text


def test_this_week_ends_now(studio: Studio) -> None:
    text = words(studio)
    assert "This week, 2 to 8 March 2026" in text
    # By hand: 24 h, 17 h 55 min and 11 h 55 min were measured of 60 h.
    assert "Measured: 89 % of the time so far." in text
    assert "Wed 4" in text
    assert "so far" in text
    assert text.count("to come") == 2 * 4


def test_a_day_without_readings_is_said_to_be_one(studio: Studio) -> None:
    assert words(studio, "?week=2026-W09").count("Sun 1 nothing measured") == 2


def test_it_leads_to_the_weeks_around(studio: Studio) -> None:
    links = outline(studio.client.get("/sites/studio").text).named("a")
    assert {"href": "/sites/studio?week=2026-W09", "rel": "prev"} in links
    earlier = outline(studio.client.get("/sites/studio?week=2026-W09").text).named("a")
    assert {"href": "/sites/studio", "rel": "next"} in earlier
    assert not any(link.get("rel") == "prev" for link in earlier)


def test_between_two_weeks_it_leads_to_the_one_after(studio: Studio) -> None:
    later = client_of(studio.database, now_ms=NOW_MS + 7 * 24 * HOUR_MS)
    links = outline(later.get("/sites/studio?week=2026-W09").text).named("a")
    assert {"href": "/sites/studio?week=2026-W10", "rel": "next"} in links


def test_the_newest_readings_are_there_with_their_age(studio: Studio) -> None:
    text = words(studio)
    assert "Battery 400 W, filling; 70 % full heard 5 min ago" in text
    assert "mode inverting" in text
    assert "heard" not in words(studio, "?week=2026-W09")


def test_a_long_silence_is_the_first_thing_after_the_answer(studio: Studio) -> None:
    later = client_of(studio.database, now_ms=NOW_MS + 2 * HOUR_MS)
    text = words_of(later.get("/sites/studio").text)
    assert "Nothing has been heard for 2 h 5 min." in text
    assert "The numbers end at 4 March 2026 11:55 WET." in text
    assert "Next: see whether the bridge has power and network." in text
    assert "Nothing has been heard" not in words(studio)


def test_every_number_opens_to_its_working(studio: Studio) -> None:
    page = outline(studio.client.get("/sites/studio").text)
    assert len(page.named("details")) == 8 + 1 + 5 + 1  # numbers, series, devices, comparison
    assert "sum-1 of trapezoid-1" in page.text
    assert "battery/power" in page.text
    assert "docs/methods/sum.md, docs/methods/trapezoid.md" in page.text
    assert "each meter being taken to read within ±1\u00a0%" in " ".join(page.words)


def test_it_is_complete_without_its_picture(studio: Studio) -> None:
    page = outline(studio.client.get("/sites/studio").text)
    assert len(page.named("noscript")) == 1
    assert page.named("table")[1]["class"] == "totals"


def test_what_cannot_be_given_has_its_reason(empty: Studio) -> None:
    with closing(empty.database.connect()) as connection:
        write(connection, empty.site, "pv", {NOW_MS: {"power": 5.0}})
    text = words_of(empty.client.get("/sites/studio").text)
    assert "neither what the panels made nor what the studio used was measured" in text
    assert "Used not given: no day has a result yet" in text


def test_an_empty_site_says_what_to_do_next(empty: Studio) -> None:
    text = words(empty)
    assert "waits for its first reading" in text
    assert f"joulebook token add garage --site studio --data {empty.database.data_dir}" in text
    assert "joulebook-bridge send" in text


def test_a_week_that_is_none_is_a_page_with_a_next_step(studio: Studio) -> None:
    answer = studio.client.get("/sites/studio?week=soon", headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert "leave it out for this week" in words_of(answer.text)


def test_today_is_measured_as_a_share_of_what_has_passed(studio: Studio) -> None:
    days = [a_day(date(2026, 3, 4), 1.0, 0.5)]
    lines = day_lines(Week.of(date(2026, 3, 4)), days, zone=studio.site.zone, now_ms=NOW_MS)
    assert [line.so_far for line in lines] == [False, False, True, False, False, False, False]
    assert [line.ahead for line in lines] == [False] * 3 + [True] * 4
    assert lines[2].coverage_ratio == 1.0
    assert lines[2].result is days[0]
    assert lines[1].coverage_ratio == 0.0
