"""``joulebook mapping try``, with the examples of its page."""

import json
import re
from pathlib import Path

import pytest

from joulebook.cli import main

PAGE = (Path(__file__).parents[3] / "docs" / "mapping.md").read_text(encoding="utf-8")
KILN, CLAMP = re.findall(r"```toml\n(.*?)```", PAGE, flags=re.DOTALL)
(STATE,) = re.findall(r"```json\n(.*?)\n```", PAGE, flags=re.DOTALL)


def tried(folder: Path, rules: str, topic: str, payload: str, *more: str) -> int:
    file = folder / "rules.toml"
    file.write_text(rules, encoding="utf-8")
    return main(["mapping", "try", str(file), "--topic", topic, f"--payload={payload}", *more])


def test_the_kilns_document_makes_readings_of_two_devices(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tried(tmp_path, KILN, "studio/kiln/1/state", STATE, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "stored"
    assert [(one["series"], one["value"], one["unit"]) for one in told["readings"]] == [
        ("studio/load-1/power_l1", 120.1, "W"),
        ("studio/load-1/power_l2", 61.3, "W"),
        ("studio/pv/power", 450.0, "W"),
    ]
    assert {one["at"] for one in told["readings"]} == {"2026-07-14T09:30:00.000Z"}
    assert told["set_aside"] == []


def test_the_clamps_numbers_are_turned_round(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tried(tmp_path, CLAMP, "clamp/amps", "-18.5") == 0
    said = capsys.readouterr().out
    assert re.fullmatch(r"stores studio/battery/current = 18\.5 A at 20\d\d-\S+Z\n", said)
    assert tried(tmp_path, CLAMP, "clamp/relay", "ON") == 0
    assert "stores studio/battery/contactor = ON at " in capsys.readouterr().out


def test_what_would_be_set_aside_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tried(tmp_path, CLAMP, "clamp/amps", "much") == 0
    said = capsys.readouterr().out
    assert said == "sets aside reading-not-found: battery/current: 'much' is no number\n"
    assert tried(tmp_path, CLAMP, "clamp/amps", "null") == 0
    assert "stores nothing" in capsys.readouterr().out
    assert tried(tmp_path, CLAMP, "elsewhere", "1") == 0
    assert "sets aside topic-invalid" in capsys.readouterr().out


def test_a_mistake_in_the_file_is_told_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rules = CLAMP.replace('unit = "A"', 'unit = "amps"')
    assert tried(tmp_path, rules, "clamp/amps", "1") == 2
    said = capsys.readouterr().err
    assert "'amps' is no unit" in said
    assert "rules.toml, line 8" in said
