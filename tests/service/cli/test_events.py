import json
import re
from pathlib import Path

import pytest

from joulebook.cli import main


@pytest.fixture
def house(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Options that name a site."""
    data = ["--data", str(tmp_path / "house")]
    assert main(["site", "add", "studio", "--timezone", "Europe/Lisbon", *data]) == 0
    capsys.readouterr()
    return ["--site", "studio", *data]


def test_events_are_noted_listed_and_taken_back(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    wired = ["Heat pump on its own sub-panel", "--kind", "wiring", "--at", "2026-03-02"]
    panels = ["Four more panels", "--kind", "panels", "--at", "2026-02-14 16:00"]
    assert main(["event", "add", *wired, "--note", "Both legs", *house]) == 0
    assert main(["event", "add", *panels, *house]) == 0
    capsys.readouterr()
    assert main(["event", "list", *house]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "2  2026-02-14 16:00  panels  Four more panels",
        "1  2026-03-02 00:00  wiring  Heat pump on its own sub-panel  Both legs",
    ]
    assert main(["event", "remove", "2", *house]) == 0
    assert capsys.readouterr().out.startswith("removed event 2  2026-02-14 16:00  panels  Four")
    assert main(["event", "list", "--json", *house]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [one["id"] for one in document["events"]] == [1]
    assert main(["event", "list", "--removed", *house]) == 0
    assert re.search(r"Four more panels  \(removed .+\)\n", capsys.readouterr().out)


def test_without_a_time_it_happened_now(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["event", "list", *house]) == 0
    assert capsys.readouterr().out == "no event\n"
    assert main(["event", "add", "New firmware", *house]) == 0
    assert main(["event", "list", "--json", *house]) == 0
    [one] = json.loads(capsys.readouterr().out.splitlines()[-1])["events"]
    assert one["at_ms"] == one["made_ms"]
    assert one["kind"] == "other"


def test_what_cannot_be_is_four_lines_and_status_2(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["event", "add", "Party", "--at", "2199-01-01", *house]) == 2
    assert main(["event", "remove", "7", *house]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 8
