import csv
import io
import re
from contextlib import closing
from pathlib import Path

from joulebook.summaries.wear_report import wear_report
from joulebook.web.pages.nights import NEWEST
from joulebook.web.words.wear_rows import claim_rows, depth_rows, facts_of, heat_rows, number_rows
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.pages import Studio, client_of, outline, words_of


def words(studio: Studio, query: str = "") -> str:
    answer = studio.client.get(f"/sites/studio/wear{query}")
    assert answer.status_code == 200
    return words_of(answer.text).replace("\u2060", "")


def test_the_answer_comes_first(long: Studio) -> None:
    text = words(long)
    # The pack held 200 Ah and lost 2 % in the year.
    found = re.search(r"holds (\d+) Ah \((\d+)\N{EN DASH}(\d+) Ah\), or (\S+) kWh", text)
    assert found is not None
    _, low, high, _ = (float(each) for each in found.groups())
    assert low <= 196 <= high
    lost = re.search(r"it lost (\S+) % \((\S+)\N{EN DASH}(\S+) %\)", text)
    assert lost is not None
    assert float(lost[2]) <= 2.0 <= float(lost[3])
    assert "Told by 369 of 370 nights" in text


def test_the_numbers_have_interval_coverage_and_method(long: Studio) -> None:
    text = words(long)
    assert re.search(r"Capacity 197 Ah 191\N{EN DASH}202 100 %", text)
    assert "capacity-1: docs/methods/capacity.md" in text
    assert "DC energy from full to 2.90 V a cell" in text
    assert "low points and" in text
    assert "The current sensor may count all charge up to 1% too high or too low" in text
    assert "It loses 1.9 % a year" in text


def test_days_that_are_not_summed_up_are_said_not_to_be(long: Studio) -> None:
    assert "Into the battery not given: no day has a result yet" in words(long)


def test_its_own_claims_stand_beside_ours(long: Studio) -> None:
    text = words(long)
    # It claims 100 % health all along, and half full whenever it is low.
    assert re.search(r"State of health 100\.0 % 98\.\d % \+1\.\d points", text)
    assert re.search(r"low points 50\.0 % \d+\.\d % \+\d+\.\d points", text)
    assert "no number of ours rests on them" in text


def test_heat_says_what_it_does(long: Studio) -> None:
    # The pack stood at 25 °C all along: neither faster nor slower.
    text = words(long)
    assert "aged 1.00 times as fast as at a steady 25 °C" in text
    assert "Mean temperature 25.0 °C" in text
    assert re.search(r"At 3\.40 V a cell or more \d+ h not stated", text)


def test_the_newest_nights_are_there_and_each_year_behind_a_link(long: Studio) -> None:
    text = words(long)
    assert f"The newest {NEWEST} of 369" in text
    links = [
        link["href"] for link in outline(long.client.get("/sites/studio/wear").text).named("a")
    ]
    assert "/sites/studio/wear?nights=2027#nights" in links
    year = words(long, "?nights=2026")
    # The years' nights are all nights, each once.
    counted = [
        int(re.findall(rf"Nights of {each} that count (\d+)", words(long, f"?nights={each}"))[0])
        for each in (2026, 2027)
    ]
    assert sum(counted) == 369
    assert 355 <= counted[0] <= 361  # 361 days are left of 2026 from 5 January on
    assert "All nights of 2026 that count" in year
    first = "5 Jan 2026"
    assert year.count(first) > text.count(first)


def test_a_year_without_nights_is_said_to_be_one(long: Studio) -> None:
    for year in ("1999", "all", "2026x"):
        answer = long.client.get(f"/sites/studio/wear?nights={year}")
        assert answer.status_code == 404
        assert answer.json()["expected"] == "one of 2027, 2026"


def test_all_nights_are_a_file(long: Studio) -> None:
    answer = long.client.get("/sites/studio/wear/nights.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="studio-nights.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == 370
    assert sum(row["counts"] == "true" for row in rows) == 369
    [other] = [row for row in rows if row["counts"] == "false"]
    assert other["reason"]
    assert float(rows[0]["low_ah"]) < float(rows[0]["ah"]) < float(rows[0]["high_ah"])
    assert [row["full"] for row in rows] == sorted(row["full"] for row in rows)


def test_a_site_that_is_not_analysed_has_an_empty_file(empty: Studio) -> None:
    assert empty.client.get("/sites/studio/wear/nights.csv").text.startswith("full,low,drawn_ah")


def test_quarters_are_named_for_where_they_lie(long: Studio) -> None:
    assert "Apr\N{EN DASH}Jun 2026 91" in words(long)


def test_a_refusal_says_what_would_cure_it(shallow: Studio) -> None:
    text = words(shallow)
    assert "How much the battery holds is not given, since the voltage told a low state" in text
    assert "What would cure it:" in text
    assert "Capacity not given: for the same reason as above" in text
    assert "Told by 0 of 40 nights" in text
    assert "where the voltage hardly tells the charge" in text
    assert "<details open>" in shallow.client.get("/sites/studio/wear").text


def test_a_deep_test_is_invited_to_with_its_cautions(shallow: Studio) -> None:
    text = words(shallow)
    for caution in ("joulebook only measures", "in an outage the house is dark",
                    "qualified person", "direct current keeps its arc", "local code"):  # fmt: skip
        assert caution in text
    assert "joulebook deep-test plan --site studio" in text


def test_a_record_that_is_not_analysed_shows_what_its_days_say(studio: Studio) -> None:
    text = words(studio)
    assert "How much the battery holds cannot be said yet." in text
    assert "Full cycles equivalent" in text
    assert "40\N{EN DASH}50 % 8.0" in text
    assert "The whole record has not been analysed yet" in text


def test_a_site_without_readings_says_how_to_begin(empty: Studio) -> None:
    assert "No readings yet" in words(empty)


def test_what_is_not_in_the_document_has_no_rows() -> None:
    assert heat_rows({}) == []
    assert claim_rows({}) == []
    assert depth_rows([{"from_ratio": 0.0, "to_ratio": 0.1, "count": 0.0}]) == []
    assert facts_of({})["capacity"] == []
    throughput = {name: {"total": 1000.0, "low": 990.0, "high": 1010.0} for name in
                  ("charge_wh", "discharge_wh")}  # fmt: skip
    efc = {"total": None, "low": None, "high": None, "reason": "no rated charge"}
    labels = [row.label for row in number_rows({"efc": efc, "throughput": throughput})]
    assert labels == ["Full cycles", "Into the battery", "Out of it"]


def test_a_claim_without_anything_of_ours_is_only_shown() -> None:
    claims = {"soh_ratio": 0.9, "soh_less_ours": None, "lows": 0}
    assert claim_rows({"claims_compared": claims}) == [
        ("State of health", "90.0\u00a0%", "not given", "not given")
    ]
    assert claim_rows({"claims_compared": {"soh_ratio": None, "lows": 0}}) == []
    lower = {"soh_ratio": 0.9, "soh_less_ours": -0.02, "lows": 0}
    assert claim_rows({"claims_compared": lower})[0][3] == "\N{MINUS SIGN}2.0\u00a0points"


def test_a_battery_that_nobody_described_has_no_test_yet(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 400.0}})
    text = words_of(client_of(database).get("/sites/studio/wear").text)
    assert "First enter what the battery is rated for" in text
    assert "deep-test plan" not in text


def test_a_resistance_that_is_not_known_has_no_facts(long: Studio) -> None:
    wear = wear_report(long.database, long.site, None, None)
    assert facts_of(wear)["resistance"][0][0] == "Told by"
    wear["measured"] |= {"resistance_ohm": {"value": None}}
    assert facts_of(wear)["resistance"] == []
