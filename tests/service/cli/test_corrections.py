import json
import re
from pathlib import Path

import pytest

from joulebook.cli import main

#: Two hours at 1000 W, every 5 minutes, of a load whose clamp is the wrong way round.
HISTORY = "time,load.power [W],battery.power [W]\n" + "".join(
    f"2026-07-14T{10 + minute // 60:02d}:{minute % 60:02d}:00Z,-1000,0\n"
    for minute in range(0, 121, 5)
)


@pytest.fixture
def house(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Options that name a site with a day of readings, in Lisbon: an hour ahead of UTC."""
    file = tmp_path / "history.csv"
    file.write_text(HISTORY, encoding="utf-8")
    data = ["--data", str(tmp_path / "house")]
    assert main(["site", "add", "studio", "--timezone", "Europe/Lisbon", *data]) == 0
    assert main(["import", str(file), "--site", "studio", *data]) == 0
    capsys.readouterr()
    return ["--site", "studio", *data]


def out(capsys: pytest.CaptureFixture[str]) -> str:
    """What was printed, with the time of day taken out."""
    return re.sub(r"(entered|withdrawn) [\d-]+ [\d:]+", r"\1 NOW", capsys.readouterr().out)


def load_kwh(house: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["show", "days", *house]) == 0
    return capsys.readouterr().out.split("used ")[1].split("  ")[0]


def test_a_reversed_clamp_is_corrected_and_the_correction_withdrawn(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert load_kwh(house, capsys) == "not given"
    note = ["--note", "The clamp was mounted backwards"]
    assert main(["correction", "add", "load/power", "sign", *note, *house]) == 0
    assert out(capsys) == (
        "added correction 1  load/power  sign  all readings  entered NOW  "
        "The clamp was mounted backwards\n"
        "1 day to be computed anew: a running service does it with its next readings, "
        "`joulebook show` at once\n"
    )
    # By hand: 1000 W for two hours.
    assert load_kwh(house, capsys) == "2.00 kWh"
    assert main(["correction", "withdraw", "1", *house]) == 0
    assert out(capsys).startswith(
        "withdrew correction 1  load/power  sign  all readings  entered NOW, withdrawn NOW  "
    )
    assert load_kwh(house, capsys) == "not given"
    assert main(["correction", "list", *house]) == 0
    assert out(capsys) == "no correction\n"
    assert main(["correction", "list", "--withdrawn", *house]) == 0
    assert "withdrawn NOW" in out(capsys)


def test_a_correction_of_a_span_changes_only_that(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    # The first hour was given as kilowatts and upside down; the second is left out.
    half = ["--to", "2026-07-14 12:02"]
    assert main(["correction", "add", "load/power", "sign", *half, *house]) == 0
    assert main(["correction", "add", "load/power", "scale", "--value", "0.5", *half, *house]) == 0
    rest = ["--from", "2026-07-14T12:02", "--to", "2026-07-14"]
    assert main(["correction", "add", "load/power", "exclude", *rest, *house]) == 0
    capsys.readouterr()
    assert load_kwh(house, capsys) == "0.50 kWh"
    assert main(["correction", "list", *house]) == 0
    assert out(capsys).splitlines() == [
        "1  load/power  sign  up to 2026-07-14 12:02  entered NOW",
        "2  load/power  scale 0.5  up to 2026-07-14 12:02  entered NOW",
        "3  load/power  exclude  from 2026-07-14 12:02 up to 2026-07-15 00:00  entered NOW",
    ]


def test_corrections_are_listed_for_programs(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["correction", "add", "load/power", "offset", "--value", "-4.5", *house]) == 0
    capsys.readouterr()
    assert main(["correction", "list", "--json", *house]) == 0
    document = json.loads(capsys.readouterr().out)
    [one] = document["corrections"]
    assert document["site"] == "studio"
    assert (one["device"], one["quantity"], one["value"], one["to_ms"]) == (
        *("load", "power"),
        *(-4.5, None),
    )


def test_days_without_readings_are_not_counted(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["load/power", "exclude", "--from", "2026-08-01"]
    assert main(["correction", "add", *arguments, *house]) == 0
    assert out(capsys).splitlines()[1] == "no day is concerned"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["add", "lod/power", "sign"], "one of battery/power, load/power"),
        (["add", "load/power", "turn"], "Invalid value for"),
        (["add", "load/power", "scale"], "a scale correction needs a value"),
        (["add", "load/power", "sign", "--from", "soon"], "'soon' is no time"),
        (["withdraw", "7"], "has no correction 7"),
    ],
)
def test_what_cannot_be_is_four_lines_and_status_2(
    house: list[str], arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["correction", *arguments, *house]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert len(error.splitlines()) == 4
