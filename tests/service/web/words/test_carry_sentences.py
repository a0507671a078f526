"""Sentences about what a site can carry, from documents of round numbers."""

from typing import Any

from joulebook.web.words.carry_sentences import (
    carry_sentence,
    outage_words,
    start_facts,
    start_title,
    starts_sentence,
)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{WORD JOINER}", "")


def hours(load: str, value: float | None, until: str = "empty") -> dict[str, Any]:
    known = {} if value is None else {"low": value - 1, "high": value + 1}
    return {"load": load, "until": until, "value": value, "reason": "never full", **known}


def loads(*entries: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "hours": list(entries),
        "load_now": {"value": 400.0},
        "night_load": {"value": 600.0},
        **more,
    }


def given(value: float, low: float | None = None, high: float | None = None) -> dict[str, Any]:
    return {"value": value, "low": low, "high": high}


def refused(reason: str) -> dict[str, Any]:
    return {"value": None, "low": None, "high": None, "reason": reason}


def start(**more: Any) -> dict[str, Any]:
    return {
        "at": "2026-06-09T06:59+00:00",
        "count": 9,
        "step_w": given(1500.0),
        "peak_w": given(1900.0, 1880.0),
        "legs": [],
        "high_s": given(180.0, 120.0, 240.0) | {"at_least": False},
        "sag_v": given(0.6, 0.5, 0.7),
        "sag_ohm": given(0.02, 0.019, 0.021),
        "lowest_v": given(52.2, 52.0, 52.4),
        "lowest_cell_v": given(3.25, 3.24, 3.26),
        "headroom_w": given(4600.0, None, 4620.0),
        "peak_headroom_w": refused("not entered"),
        **more,
    }


def facts(**more: Any) -> dict[str, str]:
    return {name: plain(words) for name, words in start_facts(start(**more))}


def test_how_long_it_lasts() -> None:
    both = loads(hours("now", 10.0), hours("now", 8.0, "a tenth"), hours("night", 7.0))
    assert plain(carry_sentence(both)) == (
        "At the load of now, 400 W, the battery lasts 10.0 hours (9.0\N{EN DASH}11.0 hours); "
        "at that of a usual night, 600 W, 7.0 hours (6.0\N{EN DASH}8.0 hours)."
    )
    night = loads(hours("now", None), hours("night", 7.0))
    assert plain(carry_sentence(night)).startswith("At that of a usual night, 600 W, 7.0 hours")


def test_why_it_cannot_be_told() -> None:
    neither = loads(hours("now", None), hours("night", None))
    assert carry_sentence(neither) == "How long the battery lasts cannot be told: never full."
    no_meter = loads(hours_reason="no meter reads the load")
    assert carry_sentence(no_meter).endswith("cannot be told: no meter reads the load.")


def test_the_largest_starts_in_a_sentence() -> None:
    window = {"from": "2026-06-01", "to": "2026-06-10", "highest_load_w": given(1900.0)}
    assert plain(starts_sentence({**window, "list": [start()]})) == (
        "The largest start from 1 June 2026 to 10 June 2026 was 1500 W; the load reached 1900 W at "
        "least."
    )
    assert plain(starts_sentence({**window, "list": []})) == (
        "Nothing of 200 W or more was switched on from 1 June 2026 to 10 June 2026."
    )
    assert starts_sentence({"reason": "no meter"}) == "The largest starts cannot be told: no meter."


def test_a_start_in_words() -> None:
    assert plain(start_title(start())) == "1500 W, seen 9 times"
    assert plain(start_title(start(count=1))) == "1500 W, seen once"
    assert facts() == {
        "Its largest": "9 Jun 2026, 06:59",
        "Peak": "1900 W at least",
        "Stayed high": "2 min to 4 min",
        "Battery fell": "by 0.60 V (0.50\N{EN DASH}0.70 V), to 52.2 V",
        "Per ampere": "20.0 mΩ (19.0\N{EN DASH}21.0 mΩ)",
        "Lowest cell": "3.250 V (3.240\N{EN DASH}3.260 V)",
        "Rating leaves": "4600 W at most",
    }


def test_what_is_not_known_of_a_start() -> None:
    told = facts(
        sag_v=refused("not read"),
        sag_ohm=refused("sun carried it"),
        peak_w=refused("nothing was read after it"),
        headroom_w=refused("not entered"),
        high_s=given(3590.0, 3590.0) | {"at_least": True},
    )
    assert told["Battery fell"] == "not given: not read"
    assert told["Per ampere"] == "not given: sun carried it"
    assert told["Peak"] == "not given: nothing was read after it"
    assert told["Rating leaves"] == "not given: not entered"
    assert told["Stayed high"] == "59 min at least"


def test_legs_and_ratings() -> None:
    leg = {"leg": "L1", "step_w": given(1500.0), "peak_w": given(1700.0)}
    over = facts(
        legs=[leg | {"headroom_w": given(-200.0)}], peak_headroom_w=given(8100.0, None, 8120.0)
    )
    assert over["On L1"] == "1500 W more, 1700 W at least"
    assert over["Leaves on L1"] == "nothing: it was exceeded by 200 W"
    assert over["For seconds"] == "8100 W at most"
    unrated = facts(legs=[leg | {"headroom_w": refused("not entered")}])
    assert "Leaves on L1" not in unrated


def test_outages_in_words() -> None:
    outage = {
        "began": "2026-06-06T20:00+00:00",
        "ended": "2026-06-06T21:00+00:00",
        "length_s": given(3600.0, 3540.0, 3660.0),
        "given_wh": given(400.0, 396.0, 404.0),
        "lowest_v": given(52.8, 52.5, 53.1),
        "carried": "yes",
    }
    assert [plain(each) for each in outage_words(outage)] == [
        "6 Jun 2026, 20:00",
        "1 h 0 min (59 min to 1 h 1 min)",
        "the house went on, on 0.40 kWh",
        "52.8 V (52.5\N{EN DASH}53.1 V)",
    ]
    going_on = outage | {"ended": None, "given_wh": refused("no meter"), "carried": "unknown"}
    assert [plain(each) for each in outage_words(going_on)][1:3] == [
        "1 h 0 min up to the last reading",
        "how the house came through was not measured",
    ]
    from_the_first = outage | {"length_s": given(3600.0, 3600.0)}
    assert plain(outage_words(from_the_first)[1]) == "1 h 0 min"
