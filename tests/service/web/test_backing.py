"""What every page is told besides its own."""

from pathlib import Path

from tests.helpers.pages import empty_studio
from tests.helpers.visitors import opened_door


def test_only_who_sits_at_the_machine_is_told_where_the_files_are(tmp_path: Path) -> None:
    house = empty_studio(tmp_path / "house").client.get("/sites/studio/wear").text
    assert str(tmp_path / "house") in house
    ada = opened_door(tmp_path / "door").signed_in("Ada").client.get("/sites/studio/wear").text
    assert str(tmp_path) not in ada
    assert "--data DIR" in ada
