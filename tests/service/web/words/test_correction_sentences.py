import pytest

from joulebook.core.corrections import KINDS, Correction, CorrectionKind
from joulebook.storage.records import Latest, Series, Site
from joulebook.web.words.correction_sentences import KIND_WORDS, days_words, example, what_it_does
from tests.helpers.databases import NOON_MS

_SITE = Site(id=1, name="studio", timezone="Europe/Lisbon")
_HOUR_MS = 3_600_000


def correction(
    kind: CorrectionKind,
    value: float | None = None,
    *,
    from_ms: int | None = None,
    to_ms: int | None = None,
    quantity: str = "power",
) -> Correction:
    return Correction(
        id=0,
        device="grid",
        quantity=quantity,
        kind=kind,
        value=value,
        from_ms=from_ms,
        to_ms=to_ms,
        made_ms=NOON_MS,
    )


def newest(value: float = 812.0) -> list[Latest]:
    return [
        Latest(Series(1, 1, 1, "load", "power", "W", "number", 0), NOON_MS, 5.0),
        Latest(Series(2, 1, 2, "grid", "power", "W", "number", 0), NOON_MS, value),
    ]


def plain(words: str | None) -> str:
    assert words is not None
    return words.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("wanted", "unit", "words"),
    [
        (correction("sign"), "W", "All readings of grid power are turned around."),
        (correction("scale", 0.98), "W", "All readings of grid power are multiplied by 0.98."),
        (correction("offset", -0.4), "W", "All readings of grid power have −0.4 W added to them."),  # noqa: RUF001
        (correction("offset", 2), "Cel", "All readings of grid power have 2 °C added to them."),
        (correction("offset", 0.1), "/", "All readings of grid power have 0.1 added to them."),
        (
            correction("exclude", from_ms=NOON_MS),
            "W",
            "Readings from 1 March 2026 12:00 WET on of grid power are left out and count as"
            " missing.",
        ),
        (
            correction("exclude", to_ms=NOON_MS),
            "W",
            "Readings up to 1 March 2026 12:00 WET of grid power are left out and count as"
            " missing.",
        ),
        (
            correction("sign", from_ms=NOON_MS, to_ms=NOON_MS + _HOUR_MS),
            "W",
            "Readings from 1 March 2026 12:00 WET up to 1 March 2026 13:00 WET of grid power are"
            " turned around.",
        ),
    ],
)
def test_a_correction_is_a_sentence(wanted: Correction, unit: str, words: str) -> None:
    assert plain(what_it_does(wanted, unit, _SITE)) == words


def test_every_kind_is_offered() -> None:
    assert tuple(KIND_WORDS) == KINDS


def test_the_newest_reading_shows_what_becomes_of_it() -> None:
    assert plain(example(correction("sign"), [], newest())) == (
        "The newest reading, 812 W, would count as −812 W."  # noqa: RUF001
    )
    assert plain(example(correction("exclude"), [], newest())) == (
        "The newest reading, 812 W, would count as missing."
    )
    assert plain(example(correction("scale", 1.05), [], newest(0.0))) == (
        "The newest reading, 0 W, would count as 0 W."
    )


def test_those_in_force_act_first() -> None:
    # By hand: 812 turned around is -812; 100 more is -712.
    there = [correction("sign")]
    assert plain(example(correction("offset", 100), there, newest())) == (
        "The newest reading, 812 W and counted as −812 W so far, would count as −712 W."  # noqa: RUF001
    )


@pytest.mark.parametrize(
    "wanted", [correction("sign", from_ms=NOON_MS + 1), correction("sign", to_ms=NOON_MS)]
)
def test_a_reading_outside_of_it_is_not_concerned(wanted: Correction) -> None:
    assert example(wanted, [], newest()) == "The newest reading is not among them."


def test_a_series_without_readings_has_no_example() -> None:
    assert example(correction("sign", quantity="frequency"), [], newest()) is None


def test_days_are_counted_in_words() -> None:
    assert [days_words(days) for days in (0, 1, 2)] == [
        "No day is concerned.",
        "1 day is computed anew.",
        "2 days are computed anew.",
    ]
