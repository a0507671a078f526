from datetime import date

import pytest

from joulebook.storage.records import Site
from joulebook.storage.site_facts import BOUNDS, FACTS
from joulebook.web.access.forms import Form
from joulebook.web.setup.facts import ALL, LABELS, read_facts, typed, words

_SITE = Site(
    id=1,
    name="studio",
    timezone="UTC",
    battery_ah=280.0,
    installed=date(2025, 1, 15),
    warranty_floor_ratio=0.7,
    warranty_throughput_wh=20e6,
    charge_low_c=-10.0,
)


def test_every_fact_has_its_field_and_a_name_of_its_own() -> None:
    assert set(ALL) | {"locale"} == set(FACTS)
    assert len(set(LABELS.values())) == len(LABELS)
    assert set(BOUNDS) == {name for name in ALL if ALL[name].kind in ("number", "whole")}


@pytest.mark.parametrize(
    ("name", "text", "in_words"),
    [
        ("battery_ah", "280", "280 Ah"),
        ("installed", "2025-01-15", "15 January 2025"),
        ("warranty_floor_ratio", "70", "70 % of the rated charge"),
        ("warranty_throughput_wh", "20000", "20000 kWh"),
        ("charge_low_c", "-10", "\N{MINUS SIGN}10 °C"),
        ("battery_cells", "", "nothing"),
    ],
)
def test_what_is_typed_and_what_is_read_are_of_a_person(
    name: str, text: str, in_words: str
) -> None:
    assert typed(_SITE, ALL[name]) == text
    told = words(name, getattr(_SITE, name))
    assert told.replace("\N{NO-BREAK SPACE}", " ") == in_words


def test_words_take_dates_as_they_are_signed_and_facts_without_a_field() -> None:
    assert words("installed", "2025-01-15").endswith("January 2025")
    assert (words("locale", "en-GB"), words("installer", "Ana")) == ("en-GB", "Ana")
    assert words("battery_cells", 16) == "16"


def test_what_was_typed_comes_back_as_it_is_stored() -> None:
    # 0.29 * 100 is 28.999999999999996 in binary: what is typed must not drift from save to save.
    for value in (0.29, 0.57, 0.7, 0.805):
        site = Site(id=1, name="studio", timezone="UTC", warranty_floor_ratio=value)
        fact = ALL["warranty_floor_ratio"]
        form = Form({fact.name: typed(site, fact)})
        assert read_facts(form, [fact]) == {"warranty_floor_ratio": value}
        assert form.errors == {}


def test_one_end_of_a_limit_can_stand_alone() -> None:
    limits = [ALL["charge_low_c"], ALL["charge_high_c"]]
    form = Form({"charge_low_c": "5", "charge_high_c": ""})
    assert read_facts(form, limits) == {"charge_low_c": 5.0, "charge_high_c": None}
    assert form.errors == {}


def test_hints_are_sentences_that_fit_below_a_label() -> None:
    for fact in ALL.values():
        assert not fact.hint or (fact.hint.endswith(".") and len(fact.hint) <= 100), fact.name
