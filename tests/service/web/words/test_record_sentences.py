from typing import Any

import pytest

from joulebook.web.words import record_sentences as sentences

_BAND = {"early": "2031-08-27", "middle": "2031-12-21", "late": "2032-04-20"}


def plain(words: str | None) -> str:
    assert words is not None
    return words.replace("\u00a0", " ").replace("\u2060", "")


def trip(**more: Any) -> dict[str, Any]:
    return {
        "ratio": 0.975,
        "low_ratio": 0.972,
        "high_ratio": 0.978,
        "coverage_ratio": 0.83,
        "from": "2026-03-02",
        "to": "2026-11-25",
        "inputs": {"segments_used": 278},
        **more,
    }


def wear(**more: Any) -> dict[str, Any]:
    return {
        "record": {"from": "2025-09-25", "to": "2026-11-25"},
        "capacity_latest": {"ah": 190.0, "low_ah": 187.0, "high_ah": 192.6},
        "energy": {"wh": 9607.0, "low_wh": 9440.0, "high_wh": 9765.0},
        "efc": {"total": 217.2},
        "fade": {"since_start": since(0.038, 0.030, 0.046), "from": "2025-09-25"},
        **more,
    }


def since(ratio: float | None, low: float | None, high: float | None) -> dict[str, Any]:
    return {"ratio": ratio, "low_ratio": low, "high_ratio": high}


def terms(**more: Any) -> dict[str, Any]:
    return {
        "ends": "2035-09-25",
        "floor_ratio": 0.7,
        "probability_met": 0.83,
        "verdict": "likely to hold",
        **more,
    }


def test_what_the_battery_gave_back() -> None:
    assert plain(sentences.gave_back(trip(), [])) == (
        "The battery gave back 97.5 % of what went into it (97.2\N{EN DASH}97.8 %),"
        " from 2 March 2026 to 25 November 2026."
    )
    event = {"date": "2026-03-02", "title": "New panels"}
    assert plain(sentences.gave_back(trip(), [event])).endswith(
        "(97.2\N{EN DASH}97.8 %), since 2 March 2026 (“New panels”)."
    )
    refused = trip(ratio=None, reason="nothing came out")
    assert plain(sentences.gave_back(refused, [])).endswith("not given, since nothing came out.")


def test_what_the_inverter_takes_in_a_year() -> None:
    # By hand: 40 W in 8766 h are 351 kWh; 38 W 333 kWh, 42 W 368 kWh.
    words = sentences.takes_itself({"value": 40.0, "low": 38.0, "high": 42.0})
    assert plain(words) == (
        "The inverter takes 40 W (38\N{EN DASH}42 W) when it gives nothing:"
        " 351 kWh (333\N{EN DASH}368 kWh) a year."
    )
    assert sentences.takes_itself({"value": None, "reason": "no nights"}).endswith("no nights.")


def test_what_a_round_trip_rests_on() -> None:
    assert plain(sentences.stretches_measured(trip())).startswith("Measured: 83 % of that time, in")
    by_days = plain(sentences.stretches_measured(trip(inputs={})))
    assert by_days.endswith("by the battery's own state of charge at its ends.")
    assert sentences.stretches_measured(trip(ratio=None)) is None


def test_up_to_when_a_record_is_analysed() -> None:
    record = {"to": "2026-11-25", "behind": True}
    assert plain(sentences.analysed(record)) == (
        "Analysed up to 25 November 2026; newer readings come in within six hours."
    )
    assert plain(sentences.analysed(record | {"behind": False})).endswith("25 November 2026.")


def test_what_the_battery_holds() -> None:
    assert plain(sentences.holds(wear(), 200.0)) == (
        "The battery holds 190 Ah (187\N{EN DASH}193 Ah), or 9.6 kWh (9.4\N{EN DASH}9.8 kWh):"
        " 95 % of the 200 Ah that it is rated for."
    )
    without = wear(energy={"wh": None})
    assert (
        plain(sentences.holds(without, None)) == "The battery holds 190 Ah (187\N{EN DASH}193 Ah)."
    )
    refused = wear(capacity_latest={"ah": None, "reason": "it never gets low"})
    assert sentences.holds(refused, 200.0).endswith("not given, since it never gets low.")
    assert sentences.holds({"record": {"reason": "x"}}, 200.0).endswith("cannot be said yet.")


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ((0.038, 0.030, 0.046), "it lost 3.8 % (3.0\N{EN DASH}4.6 %). Since the first"),
        ((-0.01, -0.02, -0.004), "it seems to have gained 1.0 % (0.4\N{EN DASH}2.0 %)."),
        ((-0.01, -0.02, 0.004), "it did not measurably lose"),
        ((0.01, -0.01, 0.03), "it did not measurably lose: \N{MINUS SIGN}1.0 to 3.0 %."),
        ((None, 0.01, 0.04), "it lost 1.0\N{EN DASH}4.0 %: too early for one number."),
    ],
)
def test_what_was_lost(found: tuple[float | None, float, float], words: str) -> None:
    fade = {"since_start": since(*found), "from": "2025-09-25"}
    assert words in plain(sentences.lost(wear(fade=fade)))


def test_what_was_lost_may_not_be_known() -> None:
    fade = {"since_start": since(None, None, None), "from": "2025-09-25"}
    assert sentences.lost(wear(fade=fade)) == (
        "Since the first reading it went through 217 full cycles."
    )
    assert sentences.lost(wear(fade={}, efc={"total": None})) is None


def test_how_many_nights_tell() -> None:
    nights = {"years": [{"counting": 1, "others": 0}, {"counting": 0, "others": 1}]}
    assert str(sentences.nights_counted(wear(nights=nights))).startswith("Told by 1 of 2 nights")
    assert sentences.nights_counted(wear()) is None


def test_how_fast_heat_ages() -> None:
    # By hand: 427 days are 1.169 years; of half of them 0.4 thermal years, 0.684 times as fast.
    thermal = {"value": 0.4, "low": 0.38, "high": 0.42, "coverage_ratio": 0.5}
    words = plain(sentences.aged(wear(exposure={"thermal_years": thermal})))
    assert "aged 0.68 times as fast as at a steady 25 °C (0.65\N{EN DASH}0.72)" in words
    assert "5.5 % faster; ten make it 1.7 times as fast" in words
    assert sentences.aged(wear()) is None
    assert sentences.aged(wear(exposure={"thermal_years": {"value": None}})) is None


@pytest.mark.parametrize(
    ("verdict", "odds", "words"),
    [
        ("very likely to hold", 0.998, "very likely to hold 70 % of its rated 200 Ah until"),
        ("more likely to hold than not", 0.6, "more likely than not to hold 70 %"),
        ("more likely to fall short than not", 0.4, "more likely than not to fall short of 70 %"),
        ("likely to fall short", 0.004, "likely to fall short of 70 %"),
    ],
)
def test_whether_it_will_hold(verdict: str, odds: float, words: str) -> None:
    said = plain(
        sentences.will_hold({"warranty": terms(verdict=verdict, probability_met=odds)}, 200)
    )
    assert words in said
    assert said.endswith(
        {0.998: "more than 99 %.", 0.6: "60 %.", 0.4: "40 %.", 0.004: "less than 1 %."}[odds]
    )


def test_what_is_promised_may_not_be_known() -> None:
    early = terms(probability_met=None, floor_ratio=None, verdict="no floor was entered")
    assert plain(sentences.will_hold({"warranty": early}, None)) == (
        "Whether it holds the promised share of its rated charge until 25 September 2035"
        " cannot be said yet."
    )
    nothing = terms(ends=None, reason="nothing was measured")
    assert sentences.will_hold({"warranty": nothing}, 200.0).endswith("since nothing was measured.")


def test_why_there_is_no_chance() -> None:
    early = terms(probability_met=None, reason="mostly from published data")
    assert sentences.why_no_odds(wear(warranty=early)) == "Mostly from published data."
    no_floor = terms(probability_met=None, verdict="no floor was entered")
    assert sentences.why_no_odds(wear(warranty=no_floor)) == "No floor was entered."
    assert sentences.why_no_odds(wear(warranty=terms())) is None
    assert sentences.why_no_odds({"warranty": early, "record": {"reason": "x"}}) is None


def test_a_limit_of_energy_that_comes_first_is_said() -> None:
    words = plain(sentences.over_by_energy(terms(throughput_reached=_BAND)))
    assert "about 21 December 2031 (27 August 2031 to 20 April 2032)" in words
    open_ended = _BAND | {"late": "beyond"}
    assert "to later" in plain(sentences.over_by_energy(terms(throughput_reached=open_ended)))
    for band in (None, _BAND | {"middle": "beyond"}, _BAND | {"middle": "2036-01-01"}):
        assert sentences.over_by_energy(terms(throughput_reached=band)) is None


def test_what_is_expected() -> None:
    known = terms(expected_ratio=0.857, low=0.79, high=0.89)
    assert plain(sentences.expected(known)) == (
        "Expected on that day: 86 % of the rated charge (79\N{EN DASH}89 %)."
    )
    assert plain(sentences.expected(known | {"expected_ratio": None})).endswith(
        "of that day: 79\N{EN DASH}89 % of the rated charge."
    )
    assert sentences.expected(terms(expected_ratio=None, low=None, high=None)) is None


def measured(value: float | None, low: float, high: float) -> dict[str, Any]:
    return {
        "resistance_ohm": {"value": value, "low": low, "high": high, "at_25_c_first": 0.020},
    }


def test_how_the_resistance_went() -> None:
    risen = plain(sentences.resistance(wear(measured=measured(0.026, 0.024, 0.028))))
    assert risen.startswith(
        "Its resistance at 25 °C has risen from 20.0 mΩ, when the record began, to 26.0 mΩ"
        " (24.0\N{EN DASH}28.0 mΩ)."
    )
    fallen = plain(sentences.resistance(wear(measured=measured(0.016, 0.015, 0.017))))
    assert "has fallen from 20.0 mΩ" in fallen
    same = plain(sentences.resistance(wear(measured=measured(0.021, 0.019, 0.023))))
    assert "has not measurably changed since the record began (20.0 mΩ)." in same
    assert sentences.resistance(wear()) is None
    assert sentences.resistance(wear(measured={"resistance_ohm": {"value": None}})) is None
