import re
from typing import Any

from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.web.pages.efficiency import FIRST_STRETCHES
from joulebook.web.words.efficiency_rows import facts_of, quarter_lines
from tests.helpers.cycled_records import IDLE_W
from tests.helpers.pages import Studio, outline, words_of


def words(studio: Studio, query: str = "") -> str:
    answer = studio.client.get(f"/sites/studio/efficiency{query}")
    assert answer.status_code == 200
    return words_of(answer.text).replace("\u2060", "")


def test_the_answer_comes_first(long: Studio) -> None:
    text = words(long)
    assert "The battery gave back 97.9 % of what went into it (97.6\N{EN DASH}98.2 %)" in text
    assert "in 369 stretches from one full charge to the next" in text
    assert "Analysed up to 9 January 2027." in text


def test_the_idle_draw_is_that_of_the_inverter(long: Studio) -> None:
    found = re.search(r"takes (\d+) W \((\d+)\N{EN DASH}(\d+) W\)", words(long))
    assert found is not None
    _, low, high = (float(each) for each in found.groups())
    assert low <= IDLE_W <= high


def test_every_quarter_has_its_interval_and_stretches(long: Studio) -> None:
    text = words(long)
    assert "Apr\N{EN DASH}Jun 2026 97.9 % 97.6\N{EN DASH}98.2 90 of 92 98 %" in text


def test_the_working_is_one_tap_away(long: Studio) -> None:
    text = words(long)
    assert "ratio = Σ out ÷ Σ in" in text
    assert "Zero of the current sensor, removed" in text
    assert "between two full charges the stored energy is the same" in text
    assert "round-trip-2: docs/methods/round-trip.md" in text
    assert "idle-2: docs/methods/idle.md" in text
    assert "battery: voltage, current" in text


def test_every_stretch_can_be_seen(long: Studio) -> None:
    assert f"The newest {FIRST_STRETCHES} of 369 stretches" in words(long)
    every = words(long, "?stretches=all")
    assert "All stretches from full to full, kWh" in every
    assert every.count(" used ") > 360


def test_before_and_after_an_event(short: Studio) -> None:
    text = words(short)
    assert "Inverter firmware 4.2: 30 January 2026 (firmware)" in text
    assert "Battery gave back no measurable change" in text
    assert "Before: 5 January 2026 to 28 January 2026." in text
    # By hand: the cycles are the same on both sides.
    assert re.search(r"Battery gave back no measurable change .* 0\.0 points", text)


def test_what_is_not_compared_says_why(short: Studio) -> None:
    text = words(short)
    assert "Four more panels: 22 February 2026 (panels)" in text
    assert "Inverter at idle: not compared, since after the event there is no number" in text
    assert "before-after-1: docs/methods/before-after.md" in text


def test_a_quarter_that_was_cut_says_from_when_to_when(short: Studio) -> None:
    text = words(short)
    assert "30 Jan 2026 to 21 Feb 2026" in text
    # The record ends on the 23rd, the quarter does not.
    assert "22 Feb 2026 to 23 Feb 2026 not given" in text
    assert "since only 1 of 2 times" in text


def test_what_came_after_a_change_is_not_mixed_with_what_was_before(short: Studio) -> None:
    report = efficiency_report(short.database, short.site, None, None)
    assert [report[name]["from"] for name in ("round_trip", "conversion")] == ["2026-02-23"] * 2
    # Too few full charges since then, so it is the sums of that one day.
    assert report["round_trip"]["method"] == "round-trip-1"


def test_a_record_that_is_not_analysed_shows_what_its_days_say(studio: Studio) -> None:
    text = words(studio)
    assert "The whole record has not been analysed yet; the service does so by itself." in text
    assert "by the battery's own state of charge at its ends" in text
    assert "round-trip-1" in text
    page = outline(studio.client.get("/sites/studio/efficiency").text)
    assert not [each for _, each in page.tags if "data-figure" in each]


def test_a_site_without_readings_says_how_to_begin(empty: Studio) -> None:
    assert "No readings yet" in words(empty)


def test_no_quarters_are_no_lines() -> None:
    assert quarter_lines({"quarters": []}) == []


def test_a_number_without_inputs_has_no_facts() -> None:
    nothing: dict[str, Any] = {"inputs": {}, "from": None, "to": None, "assumptions": []}
    report = dict.fromkeys(("round_trip", "idle_w", "conversion"), nothing)
    assert facts_of(report) == {name: [] for name in report}


def test_without_a_tariff_it_leads_to_where_one_is_entered(short: Studio) -> None:
    links = outline(short.client.get("/sites/studio/efficiency").text).named("a")
    leads = [link.get("href") for link in links]
    assert "/sites/studio/money" in leads
    # Two events were noted: what they did is a step away.
    assert "#changes" in leads
