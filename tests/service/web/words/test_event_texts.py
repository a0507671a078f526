import pytest

from joulebook.storage.events import KINDS
from joulebook.storage.records import Site
from joulebook.web.words.event_texts import KIND_WORDS, local_minute, what_it_does


def test_every_kind_is_offered() -> None:
    assert tuple(KIND_WORDS) == KINDS


@pytest.mark.parametrize("kind", KINDS)
def test_before_and_after_any_event_are_not_mixed(kind: str) -> None:
    said = what_it_does(kind)
    assert "Before and after it are not mixed" in said
    moved = kind in ("firmware", "wiring", "battery", "sensor")
    assert ("zero of the current sensor" in said) == moved
    assert ("record of a new battery" in said) == (kind == "battery")


def test_a_field_has_the_minute_of_the_site_s_clock() -> None:
    # 2026-07-14T22:30:59Z is 23:30 in Lisbon's summer.
    site = Site(id=1, name="studio", timezone="Europe/Lisbon")
    assert local_minute(1_784_068_259_000, site) == "2026-07-14T23:30"
