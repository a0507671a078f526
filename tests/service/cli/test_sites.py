from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.site_facts import FACTS

HISTORY = "time,battery.power [W]\n1784023200,1000\n1784023260,1000\n"
TERMS = ["--warranty-years", "10", "--warranty-floor", "0.7", "--warranty-throughput-kwh", "30000"]
RATING = ["--inverter-w", "6500", "--inverter-peak-w", "12000"]

#: What the terms allow and what the equipment is: facts after the eighth.
OTHERS = ", ".join(FACTS[8:])


@pytest.fixture
def data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    file = tmp_path / "history.csv"
    file.write_text(HISTORY, encoding="utf-8")
    data = ["--data", str(tmp_path / "house")]
    pack = ["--battery-ah", "100", "--battery-cells", "16"]
    assert main(["site", "add", "studio", "--timezone", "UTC", *pack, *data]) == 0
    assert main(["import", str(file), "--site", "studio", *data]) == 0
    capsys.readouterr()
    return data


def test_what_is_given_changes_and_the_rest_stays(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["site", "set", "studio", "--battery-ah", "200", *data]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "battery_ah: 200.0",
        "battery_cells: 16",
        "not given: installed, warranty_years, warranty_floor_ratio, warranty_throughput_wh,"
        f" inverter_w, inverter_peak_w, {OTHERS}",
        "days to be computed anew: 1",
    ]
    assert main(["site", "set", "studio", "--installed", "2025-01-15", *TERMS, *RATING, *data]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "battery_ah: 200.0",
        "battery_cells: 16",
        "installed: 2025-01-15",
        "warranty_years: 10.0",
        "warranty_floor_ratio: 0.7",
        "warranty_throughput_wh: 30000000.0",
        "inverter_w: 6500.0",
        "inverter_peak_w: 12000.0",
        f"not given: {OTHERS}",
        "days to be computed anew: 0",
    ]


def test_facts_can_be_forgotten(data: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    forget = ["--forget", "battery-ah", "--forget", "battery-cells"]
    assert main(["site", "set", "studio", *forget, *data]) == 0
    assert capsys.readouterr().out.startswith("not given: battery_ah, battery_cells, installed")


def test_what_makes_no_sense_is_refused(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["site", "set", "studio", "--warranty-floor", "70", *data]) == 2
    assert "warranty_floor_ratio cannot be 70" in capsys.readouterr().err


def test_limits_of_the_terms_and_the_equipment_can_be_told(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    limits = ["--charge-low-c", "0", "--charge-high-c", "50", "--charge-max-v", "57.6"]
    words = ["--battery-serial", "PT-0042", "--commissioned", "2025-01-20", "--locale", "en-GB"]
    assert main(["site", "set", "studio", *limits, *words, *data]) == 0
    told = dict(line.split(": ") for line in capsys.readouterr().out.splitlines())
    assert (told["charge_low_c"], told["charge_high_c"]) == ("0.0", "50.0")
    assert told["charge_max_v"] == "57.6"
    assert "discharge_low_c" in told["not given"]
    assert (told["battery_serial"], told["commissioned"]) == ("PT-0042", "2025-01-20")
    assert (told["locale"], told["days to be computed anew"]) == ("en-GB", "0")
