from dataclasses import replace
from datetime import date

from joulebook.storage.records import Site
from joulebook.web.setup.missing import missing_equipment, missing_terms

_BARE = Site(id=1, name="studio", timezone="UTC")


def test_what_is_missing_has_its_reason() -> None:
    missing = {each.what: each.why for each in missing_equipment(_BARE)}
    assert missing["Its cells in series"] == (
        "no capacity is measured, for a cell's voltage is what tells it"
    )
    assert len(missing) == 7


def test_what_is_entered_is_not_missing() -> None:
    site = replace(_BARE, battery_ah=200.0, installed=date(2025, 1, 15), inverter_serial="7")
    assert "The battery's rated charge" not in [each.what for each in missing_equipment(site)]
    assert len(missing_equipment(site)) == 4


def test_one_limit_shows_that_the_terms_were_read() -> None:
    assert [each.what for each in missing_terms(_BARE)] == [
        "How long the warranty lasts",
        "What it promises at its end",
        "Limits of temperature and voltage",
    ]
    assert len(missing_terms(replace(_BARE, charge_max_v=57.6))) == 2
    # A limit of energy is in some terms only: nobody is asked for it.
    entered = replace(_BARE, warranty_years=10.0, warranty_floor_ratio=0.7, charge_low_c=0.0)
    assert missing_terms(entered) == ()
