import re
from dataclasses import replace
from typing import Any

from joulebook.storage.records import Site
from joulebook.web.words.warranty_rows import limit_rows, missing_for_proof, term_rows, what_if_rows
from tests.helpers.pages import Studio, outline, words_of

SITE = Site(id=1, name="studio", timezone="UTC")


def words(studio: Studio) -> str:
    answer = studio.client.get("/sites/studio/warranty")
    assert answer.status_code == 200
    return words_of(answer.text).replace("\u2060", "")


def test_the_answer_comes_first_in_words_and_number(long: Studio) -> None:
    text = words(long)
    assert "very likely to hold 70 % of its rated 200 Ah until 20 December 2035" in text
    assert "The chance to hold: more than 99 %." in text
    assert re.search(r"Expected on that day: 8\d % of the rated charge", text)


def test_terms_are_shown_as_entered(long: Studio) -> None:
    text = words(long)
    assert "First day 20 December 2025 Ends on 20 December 2035" in text
    assert "Over earlier, after 20000 kWh out" in text
    assert "so assumed" not in text
    assert "joulebook site set studio --installed" in text


def test_limits_that_were_entered_stand_among_the_terms() -> None:
    site = replace(SITE, charge_high_c=50.0, charge_max_v=57.6)
    assert limit_rows(site) == [
        ("Charging: hottest cell", "50\N{NO-BREAK SPACE}°C"),
        ("Charging: highest voltage", "57.6\N{NO-BREAK SPACE}V"),
    ]
    assert limit_rows(SITE) == []


def test_a_limit_of_energy_that_comes_first_is_said(long: Studio) -> None:
    # By hand: 0.891 cycles of 10.6 kWh a day are 3.4 MWh a year, so 20 MWh last about 5.8 years.
    text = words(long)
    assert re.search(r"its limit of energy is reached first, about \d+ \w+ 2031", text)
    assert re.search(r"The energy limit is reached \d+ \w+ 2031", text)


def test_the_fan_is_a_table_too(long: Studio) -> None:
    text = words(long)
    assert "On 5 10 50 90 95" in text
    assert len(re.findall(r"\d\d Dec 20\d\d( \d+\.\d){5}", text)) == 9


def test_what_if_says_what_would_change_it(long: Studio) -> None:
    text = words(long)
    middles = [
        float(each) for each in re.findall(r"(?:As it is|cooler|warmer|less use) (\d+\.\d) %", text)
    ]
    as_is, cooler, warmer, less = middles
    assert warmer < as_is < cooler
    assert less > as_is


def test_what_is_missing_for_proof_is_listed(long: Studio, short: Studio) -> None:
    assert "The readings begin on 5 January 2026, the warranty on 20 December 2025" in words(long)
    text = words(short)
    assert "Not all of the terms were entered; see above." in text
    assert "No limit of energy was entered" in text


def test_it_says_what_it_rests_on_and_cannot_see(long: Studio) -> None:
    text = words(long)
    assert "It rests on measured capacities, and published laws of ageing" in text
    assert "A sudden turn for the worse (a knee) shows in no reading before it begins." in text
    assert "forecast-1: docs/methods/forecast.md" in text


def test_before_a_year_only_the_interval_is_given(short: Studio) -> None:
    text = words(short)
    assert "until 5 January 2036 cannot be said yet." in text
    assert "Mostly from published ageing data" in text
    assert re.search(r"All that can be said of that day: \d+\N{EN DASH}\d+ % of the rated", text)
    assert "On 5 10 90 95" in text
    assert "As it is no middle" in text


def test_terms_that_were_assumed_are_said_to_be(short: Studio) -> None:
    text = words(short)
    assert "Not entered, so assumed: the battery is taken to have first run on 2026-01-05" in text
    assert "a floor of 70% of the rated charge is assumed" in text


def test_without_a_capacity_published_data_alone_speak(shallow: Studio) -> None:
    text = words(shallow)
    assert "No capacity was measured: this interval comes from published ageing data" in text
    assert "No capacity is measured: the voltage told a low state of charge 0 times" in text


def test_a_record_that_is_not_analysed_says_so(studio: Studio) -> None:
    text = words(studio)
    assert "Whether it holds the promised share of its rated 200 Ah" in text
    assert "The whole record has not been analysed yet" in text
    assert "The record is not analysed:" in text


def test_a_site_without_readings_says_how_to_begin(empty: Studio) -> None:
    assert "No readings yet" in words(empty)


def test_terms_that_nobody_knows_are_not_made_up() -> None:
    nothing = {"ends": None, "floor_ratio": None, "throughput_wh": None}
    assert [words for _, words in term_rows(nothing)] == [
        "not known",
        "not known",
        "not entered",
        "no limit was entered",
    ]


def wear(**terms: Any) -> dict[str, Any]:
    return {
        "record": {"from": "2026-01-05"},
        "capacity_latest": {"ah": 198.0},
        "capacity_cautions": [],
        "warranty": {"begins": "2026-01-05", "coverage_ratio": 1.0, **terms},
    }


def test_nothing_may_be_missing() -> None:
    site = replace(SITE, warranty_throughput_wh=2e7)
    assert missing_for_proof(wear(), site) == []
    gaps = missing_for_proof(wear(coverage_ratio=0.9), site)
    assert gaps == ["Temperature and current are both known for 90\u00a0% of the time."]


def test_more_use_and_no_forecast_have_their_words() -> None:
    known = {"expected_ratio": 0.8, "low": 0.7, "high": 0.9, "probability_met": 0.75}
    more = {"cooler_c": 0.0, "use_ratio": 1.5, **known}
    rows = what_if_rows({"warranty": known | {"fan": [{}]}, "what_if": [more]})
    assert [row.words for row in rows] == ["As it is", "50\u00a0% more use"]
    assert rows[1].odds == "75\u00a0%"
    assert what_if_rows({"warranty": known | {"fan": []}, "what_if": [more]}) == []
    assert what_if_rows({"warranty": known}) == []


def test_the_evidence_is_a_link_away(long: Studio) -> None:
    links = outline(long.client.get("/sites/studio/warranty").text).named("a")
    assert "/sites/studio/evidence" in [link.get("href") for link in links]
