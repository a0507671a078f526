from datetime import date
from zoneinfo import ZoneInfo

import pytest

from joulebook.errors import UsageError
from joulebook.web.access.forms import Form

LISBON = ZoneInfo("Europe/Lisbon")


def test_what_was_sent_is_shown_again_else_what_holds() -> None:
    form = Form({"ah": " 200 "})
    assert form.value("ah", 100) == " 200 "
    assert form.value("cells", 16) == "16"
    assert form.value("cells", None) == ""
    assert Form().fields == {}


def test_a_text() -> None:
    form = Form({"name": "  kiln  ", "long": "x" * 81})
    assert form.text("name") == "kiln"
    assert form.text("none") == ""
    assert form.errors == {}
    form.text("long")
    form.text("needed", needed=True)
    assert form.errors == {
        "long": "This has 81 characters; 80 are the most.",
        "needed": "This is needed.",
    }


@pytest.mark.parametrize(
    ("text", "number"), [("200", 200.0), ("0,5", 0.5), (" 1e2 ", 100.0), ("", None)]
)
def test_a_number(text: str, number: float | None) -> None:
    form = Form({"ah": text})
    assert form.number("ah", low=0, high=1000) == number
    assert form.errors == {}


@pytest.mark.parametrize("text", ["x", "-1", "1001", "nan", "inf", "1,000.0", "1_0,", "9" * 400])
def test_what_is_no_number_between(text: str) -> None:
    form = Form({"ah": text})
    assert form.number("ah", low=0, high=1000) is None
    assert form.errors == {"ah": "A number from 0 to 1000."}


def test_a_whole_number() -> None:
    assert Form({"cells": "16"}).whole("cells", low=1, high=32) == 16
    for text in ("16.0", "0", "33", "x"):
        form = Form({"cells": text})
        assert form.whole("cells", low=1, high=32) is None
        assert form.errors == {"cells": "A whole number from 1 to 32."}


def test_a_day() -> None:
    assert Form({"day": "2026-11-25"}).day("day") == date(2026, 11, 25)
    for text in ("20261125", "2026-W48-3", "2026-02-30", "1989-12-31", "2200-01-01", "soon"):
        form = Form({"day": text})
        assert form.day("day") is None
        assert list(form.errors) == ["day"]


def test_a_moment_is_one_of_the_site_s_clock() -> None:
    # IANA tz database: Lisbon is one hour ahead of UTC in July.
    assert Form({"at": "2026-07-14T12:30"}).moment("at", LISBON) == 1_784_028_600_000
    # Its clocks went back on 25 October 2026 at 02:00, to 01:00: of 01:30 the first is meant.
    assert Form({"at": "2026-10-25T01:30"}).moment("at", LISBON) == 1_792_888_200_000
    for text in ("2026-07-14T12:30+02:00", "1989-12-31T23:00", "noon"):
        form = Form({"at": text})
        assert form.moment("at", LISBON) is None
        assert list(form.errors) == ["at"]


def test_one_of_some_words() -> None:
    assert Form({"kind": "b"}).choice("kind", ("a", "b")) == "b"
    assert Form().choice("kind", ("a", "b")) == "a"
    form = Form({"kind": "c"})
    assert form.choice("kind", ("a", "b")) == "a"
    assert form.errors == {"kind": "One of a, b."}


def test_a_box_is_ticked_or_not() -> None:
    assert Form({"sure": "yes"}).ticked("sure")
    assert not Form({"sure": ""}).ticked("sure")
    assert not Form().ticked("sure")


def test_what_the_floor_below_refuses_is_said_too() -> None:
    form = Form()
    form.refuse(UsageError("it broke", where="here", expected="no smoke", next_step="wait"), "x")
    assert form.errors == {"x": "It broke. Expected: no smoke."}
