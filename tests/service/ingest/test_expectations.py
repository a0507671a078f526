import pytest

from joulebook.ingest import expectations as expectations_module
from joulebook.ingest.checks import Expected, Objection
from joulebook.ingest.expectations import Expectations


def test_an_answer_is_given_again_until_storage_says_otherwise() -> None:
    known = Expectations()
    first = known.of(1, "kiln", "heat", "kW", "number")
    assert first == Expected("kW", "number")
    assert known.of(1, "kiln", "heat", "kW", "number") is first
    known.pin(1, "kiln", "heat", "W", "number")
    assert known.of(1, "kiln", "heat", "kW", "number") == Expected("W", "number")
    known.close_device(1, "kiln", frozenset())
    assert isinstance(known.of(1, "kiln", "heat", "kW", "number"), Objection)
    assert known.of(2, "kiln", "heat", "kW", "number") == first


def test_units_are_known_from_the_vocabulary_and_from_storage() -> None:
    known = Expectations()
    assert known.unit_of(1, "battery", "soc") == "/"
    assert known.unit_of(1, "kiln", "heat") is None
    known.pin(1, "kiln", "heat", "W", "number")
    assert known.unit_of(1, "kiln", "heat") == "W"
    assert known.unit_of(2, "kiln", "heat") is None


def test_made_up_names_do_not_fill_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(expectations_module, "_MOST_ANSWERS", 2)
    known = Expectations()
    first = known.of(1, "kiln", "a", "", "number")
    for name in ("b", "c", "d"):
        known.of(1, "kiln", name, "", "number")
    assert known.of(1, "kiln", "a", "", "number") is not first
    assert len(known._answers) <= 2
