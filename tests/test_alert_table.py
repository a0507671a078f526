"""The table of alerts: how delays and false alarms are counted, and a home with each fault."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests import alert_table
from tests.alert_faults import PLANTED
from tests.alert_table import Row, openings, page
from tests.helpers.homes import HomeSpec, named_homes


def test_openings_are_those_of_the_rule_with_its_hysteresis() -> None:
    values = [(0, 29.0), (1, 31.0), (2, 29.0), (3, 31.0), (4, 4.0), (5, 30.0), (6, None)]
    assert openings("bridge-silent", values) == [1, 5]


def test_rates_are_by_year_and_home_and_delays_by_their_median() -> None:
    row = Row(
        rule="idle-jump",
        fault="25 W more",
        opened=3,
        years=6.0,
        delays_h=[1.0, None, 100.0, 48.0],
    )
    silent = replace(row, rule="bridge-silent", opened=60, fault="", delays_h=[])
    text = page([row, silent], homes=4, command="a command", took="It took a minute.")
    assert "| `idle-jump` | 0.50 | 25 W more | 3 of 4 | 48 h | 4 days |" in text
    assert "| `bridge-silent` | 10.00 | - | - | - | - |" in text
    assert "equipment together: 0.50 a year and home" in text
    minutes = page([replace(row, delays_h=[0.5])], homes=1, command="c", took="")
    assert "| 30 min | 30 min |" in minutes


def test_the_command_writes_the_page_and_every_planted_fault_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def few(count: int, *, seed: int, years: float) -> Sequence[HomeSpec]:
        assert (count, seed) == (1, 5)
        return [replace(named_homes()["deep-perfect"], years=years)]

    monkeypatch.setattr(alert_table, "draw_homes", few)
    monkeypatch.setattr(alert_table, "ONSET_DAY", 170)
    written = tmp_path / "alerts.md"
    arguments = ["--homes", "1", "--seed", "5", "--years", "0.6", "--write", str(written)]
    assert alert_table.main(arguments) == 0
    text = capsys.readouterr().out
    assert written.read_text(encoding="utf-8") == text
    rows = {line.split("`")[1]: line for line in text.splitlines() if line.startswith("| `")}
    assert set(rows) == {rule for rule, *_ in PLANTED}
    for rule in ("bridge-silent", "idle-jump", "round-trip-drop", "never-full", "cold-charging"):
        assert "| 1 of 1 |" in rows[rule], rows[rule]
    for rule in ("idle-jump", "round-trip-drop", "never-full", "capacity-low", "forecast-low"):
        assert f"| `{rule}` | 0.00 |" in rows[rule]
