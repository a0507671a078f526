from pathlib import Path

import pytest

from tests.helpers.pages import words_of
from tests.helpers.visitors import Door, opened_door


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


def test_nothing_was_changed_yet(door: Door) -> None:
    assert "Nothing was changed yet." in words_of(door.signed_in("Ada").client.get("/audit").text)


def test_changes_stand_there_the_latest_first_fifty_a_page(door: Door) -> None:
    ben = door.signed_in("Ben")
    for number in range(51):
        ben.post("/sites/studio/setup/tokens", name=f"bridge-{number}", scope="write")
    ada = door.signed_in("Ada").client
    first = words_of(ada.get("/audit").text)
    assert "Ben : make token, at studio: bridge-50, for a bridge" in first
    assert "bridge-1," in first
    assert "bridge-0," not in first
    assert "Older" in first
    second = words_of(ada.get("/audit?page=2").text)
    assert "bridge-0," in second
    assert "Newer" in second
    assert "There is no page 3." in words_of(ada.get("/audit?page=3").text)
    assert ada.get("/audit?page=none").status_code == 422
