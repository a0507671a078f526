from joulebook.web.shown import AMPERE_HOURS, CYCLES, KWH, PERCENT, shown, without_repeats

_GIVEN = {"ah": 190.4, "low_ah": 187.0, "high_ah": 193.8, "coverage_ratio": 0.5, "method": "m-1"}
_REFUSED = {"value": None, "low": None, "high": None, "method": "m-1", "reason": "it is dark"}


def test_a_number_has_its_unit_and_its_interval() -> None:
    row = shown("Capacity", _GIVEN, "ah", AMPERE_HOURS, note="now")
    assert (row.label, row.note, row.value) == ("Capacity", "now", "190\u00a0Ah")
    assert row.interval == "187\N{EN DASH}194"
    assert (row.measured, row.method, row.reason) == ("50\u00a0%", "m-1", None)


def test_an_interval_may_stand_alone() -> None:
    early = {"ratio": None, "low": -0.01, "high": 0.03, "reason": "too early"}
    row = shown("Fade", early, "ratio", PERCENT)
    assert row.value is None
    assert row.interval == "\N{MINUS SIGN}1.0\u00a0to 3.0"
    assert row.measured == "0\u00a0%"


def test_a_number_that_is_refused_has_neither() -> None:
    row = shown("Idle", _REFUSED, "value", KWH)
    assert (row.value, row.interval, row.reason) == (None, None, "it is dark")
    assert KWH.text(None) == "not given"
    assert KWH.signed(1500.0) == "+1.5\u00a0kWh"
    assert KWH.interval(1.0, None) == "not given"


def test_a_number_without_a_unit_ends_in_no_blank() -> None:
    assert CYCLES.text(217.24) == "217.2"


def test_no_line_ends_within_an_interval_of_a_sentence() -> None:
    words = KWH.words(9607.0, 9440.0, 9765.0)
    assert words == "9.6\u00a0kWh (9.4\u2060\N{EN DASH}\u20609.8\u00a0kWh)"
    assert " " not in words.replace(" (", "")


def test_a_reason_is_given_once() -> None:
    rows = [shown(label, _REFUSED, "value", KWH) for label in ("One", "Two")]
    told = [row.reason for row in without_repeats(rows)]
    assert told == ["it is dark", "for the same reason as above"]
    assert without_repeats(rows, said="it is dark")[0].reason == "for the same reason as above"
