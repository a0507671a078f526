import json
import re
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.core.battery.deep_test_plan import CAUTIONS
from tests.helpers.deep_nights import deep_nights, night_ms, until
from tests.helpers.stored_packs import store_pack

DEEP = deep_nights([*[0.4] * 12, 0.05, 0.4], step_s=300)
SHALLOW = deep_nights([*[0.4] * 12, 0.3, 0.4], step_s=300)
# The twelfth night is that of 17 January 2026, full at 16:00 UTC.
BEGAN, ENDED = ["--at", "2026-01-17 15:00"], ["--at", "2026-01-18 16:00"]


def house(tmp_path: Path, *, upto_hour: float = 99.0, shallow: bool = False) -> list[str]:
    """Options that name a site with a battery's record up to an hour of the twelfth night."""
    history = SHALLOW if shallow else DEEP
    database, _ = store_pack(tmp_path, until(history, night_ms(12, upto_hour)))
    database.close()
    return ["--site", "studio", "--data", str(tmp_path)]


def shown(options: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["deep-test", "show", *options]) == 0
    return capsys.readouterr().out


def test_a_plan_says_what_to_do_and_what_to_be_careful_with(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path)
    assert shown(options, capsys) == "no test was planned\n"
    assert main(["deep-test", "plan", "--note", "Before winter", *options]) == 0
    told = capsys.readouterr().out
    assert all(caution in told for caution in CAUTIONS)
    assert told.index("Be careful") < told.index("What to do")
    assert "It counts below 8%: about 50.7 V at a light load." in told
    assert shown(options, capsys).endswith(", Before winter\n")


def test_a_test_under_way_says_how_far_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path, upto_hour=8.0)
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", *BEGAN, *options]) == 0
    # By hand: 68 to 69 % of the night's 190 Ah are out by midnight; the plateau is at 3.29 V.
    stage, drawn, rest, missing = shown(options, capsys).splitlines()[1:]
    assert stage == "  discharging"
    assert re.fullmatch(r"  drawn since full: 13[56]\.\d Ah", drawn)
    assert re.fullmatch(r"  a cell would rest at 3\.2[89]\d V", rest)
    pattern = r"  still missing: about 4\d Ah more, down to about 50\.\d V at a light load"
    assert re.fullmatch(pattern, missing)


def test_before_it_is_full_nothing_is_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path, upto_hour=-5.0)
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", "--at", "2026-01-17 10:00", *options]) == 0
    stage, drawn, _, missing = shown(options, capsys).splitlines()[1:]
    assert (stage, drawn) == ("  waiting for full", "  drawn since full: not known")
    assert missing.startswith("  still missing: a full charge")


def test_at_the_bottom_the_voltage_tells_the_state(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path, upto_hour=14.9)
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", *BEGAN, *options]) == 0
    assert re.search(r" V, about [56]%\n", shown(options, capsys))


def test_a_result_is_told_with_its_interval(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path)
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", *BEGAN, *options]) == 0
    assert main(["deep-test", "end", *ENDED, *options]) == 0
    lines = shown(options, capsys).splitlines()
    assert lines[1] == "  counts"
    assert re.match(r"  capacity (199|200)\.\d Ah, from 19[78]", lines[2])
    assert lines[2].endswith(" with 90% probability")
    pattern = r"  190\.\d Ah were counted down to [45]\.\d%, and 190\.\d Ah back to full"
    assert re.fullmatch(pattern, lines[3])
    assert lines[4].startswith("  the current sensor reads -0.0")
    assert main(["deep-test", "show", "--json", *options]) == 0
    [test] = json.loads(capsys.readouterr().out)["tests"]
    assert test["result"]["verdict"] == "counts"
    assert test["test"]["target"]["low_state"] == 0.08


def test_one_that_does_not_count_says_why(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = house(tmp_path, shallow=True)
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", *BEGAN, *options]) == 0
    assert main(["deep-test", "end", *ENDED, *options]) == 0
    lines = shown(options, capsys).splitlines()
    assert lines[1] == "  does not count"
    assert lines[2].startswith("  because the cells came down to")
    assert len(lines) == 3


def test_without_a_record_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = ["--data", str(tmp_path)]
    options = ["--site", "studio", *data]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    assert main(["deep-test", "plan", *options]) == 2
    assert "rated charge and cells in series were not entered" in capsys.readouterr().err
    pack = ["--battery-ah", "200", "--battery-cells", "16"]
    assert main(["site", "set", "studio", *pack, *data]) == 0
    assert main(["deep-test", "plan", *options]) == 0
    assert main(["deep-test", "start", *options]) == 0
    assert "nothing can be told: the site has no battery device" in shown(options, capsys)
    assert main(["deep-test", "end", *options]) == 0
