"""The checker, in a process of its own and without joulebook: what it accepts, what it finds.

Its sums are compared with ``sha256sum`` of GNU coreutils, its numbers with the simulated pack's
truth: 200 Ah at the start, 2 % a year lost, drawn down by 180 Ah every night.
"""

import hashlib
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.evidence import check
from tests.helpers.analysed_sites import failing_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.evidence_files import Unpacked, made_evidence
from tests.helpers.pages import Studio
from tests.service.evidence.conftest import SHALLOW_MS


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def sealed_anew(unpacked: Unpacked, name: str) -> None:
    """Write a file's true sum into the manifest, as somebody would who changed it."""
    digest = subprocess.run(
        ["sha256sum", name], cwd=unpacked.folder, capture_output=True, text=True, check=True
    ).stdout.split()[0]
    manifest = unpacked.folder / "manifest.txt"
    text = re.sub(
        rf"[0-9a-f]{{64}}  {re.escape(name)}", f"{digest}  {name}", unpacked.text(manifest.name)
    )
    manifest.write_text(text, encoding="utf-8")


def found(said: str, name: str) -> float:
    match = re.search(rf"{re.escape(name)}: stated .* found ([-0-9.e+]+) ±", said)
    assert match is not None
    return float(match[1])


def test_a_file_as_it_was_made_agrees_and_its_numbers_are_the_packs(whole: Unpacked) -> None:
    status, said = whole.check_alone()
    assert (status, "WRONG" in said) == (0, False)
    assert "all of it agrees" in said
    # 200 Ah less 2 % a year, in steps of thirty days: 196 at the end.
    assert found(said, "Capacity, Ah") == pytest.approx(196.0, abs=1.0)
    assert found(said, "Loss a year, % of the start") == pytest.approx(0.02, abs=0.002)
    # 180 Ah down and up again, 370 times, of 200 Ah; the last day's fill is under way.
    assert found(said, "Full cycles, equivalent") == pytest.approx(370 * 180 / 200, rel=0.02)


def test_the_manifest_is_one_that_sha256sum_reads(whole: Unpacked) -> None:
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "manifest.txt"],
        cwd=whole.folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0


def test_a_changed_or_missing_file_is_named(copy: Unpacked) -> None:
    change(copy.folder / "events.csv", "Reserve 10 %", "Reserve 20 %")
    (copy.folder / "evidence.pdf").unlink()
    status, said = copy.check()
    assert status == 1
    assert "WRONG    events.csv is missing or was changed" in said
    assert "WRONG    evidence.pdf is missing or was changed" in said


def test_a_reading_changed_together_with_its_sum_is_found_by_the_chain(copy: Unpacked) -> None:
    lines = copy.text("readings.csv").splitlines()
    cells = lines[1000].split(",")
    cells[1] = repr(float(cells[1]) + 0.001)
    change(copy.folder / "readings.csv", lines[1000], ",".join(cells))
    sealed_anew(copy, "readings.csv")
    status, said = copy.check()
    assert status == 1
    assert "the readings of battery on 2026-01-08 (UTC) are not those that were sealed" in said
    assert "files: 21 of 21 are as they were made" in said


def test_a_link_changed_to_fit_breaks_the_chain(copy: Unpacked) -> None:
    first = copy.text("chain.csv").splitlines()[1].split(",")
    change(copy.folder / "chain.csv", first[4], "0" * 64)
    sealed_anew(copy, "chain.csv")
    status, said = copy.check()
    assert status == 1
    assert re.search(r"WRONG  chain: link 1, \w+ on 2026-01-05, is broken", said)


def test_results_that_do_not_follow_from_the_readings_are_found(copy: Unpacked) -> None:
    for name in ("ah", "fade"):
        assert name in copy.text("results.json")
    text = copy.text("results.json")
    value = re.search(r'"capacity_ah": \{\s+"value": ([0-9.]+),\s+"low": ([0-9.]+)', text)
    assert value is not None
    change(copy.folder / "results.json", value[2], "215.0")
    change(copy.folder / "results.json", value[1], "218.0")
    sealed_anew(copy, "results.json")
    status, said = copy.check()
    assert status == 1
    assert "WRONG  Capacity, Ah: stated 218 [215 to" in said


def test_nights_that_were_polished_are_found(copy: Unpacked) -> None:
    text = copy.text("nights.csv")
    polished = re.sub(r",(19\d)\.(\d+),(\d+\.\d+),(\d+\.\d+),1,", r",230.0,\3,\4,1,", text)
    assert polished != text
    (copy.folder / "nights.csv").write_text(polished, encoding="utf-8")
    status, said = copy.check()
    assert status == 1
    assert re.search(r"WRONG  nights: \d+ of 370 as listed", said)


def test_an_older_file_must_be_where_this_chain_begins(
    copy: Unpacked, whole: Unpacked, tmp_path: Path
) -> None:
    older = tmp_path / "older"
    shutil.copytree(whole.folder, older)
    lines = (older / "chain.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (older / "chain.csv").write_text("".join(lines[:101]), encoding="utf-8")
    status, said = copy.check_alone(str(older))
    assert status == 0
    assert "chain: its first 100 links are those of the older file" in said
    change(older / "chain.csv", lines[1].split(",")[6].strip(), "f" * 64)
    assert copy.check(older)[0] == 1


def test_a_battery_that_never_gets_low_is_not_judged_and_the_rest_is(
    shallow: Studio, tmp_path: Path
) -> None:
    status, said = made_evidence(shallow, tmp_path / "file", now_ms=SHALLOW_MS).check_alone()
    assert status == 0
    assert "    -  nights: too few went low enough to tell the capacity" in said
    assert "   ok  Round trip (DC), %: stated" in said


def told(capsys: pytest.CaptureFixture[str], name: str, stated: dict[str, Any], *given: Any) -> str:
    report = check.Report()
    report.results = {"headline": {name: stated}}
    report.compare(name, *given)
    said = capsys.readouterr().out
    assert report.agrees == (not said.startswith("WRONG"))
    return said


def test_a_number_without_a_way_to_find_it_is_not_judged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    stated = {"value": 0.9, "low": 0.8, "high": 1.0}
    said = told(capsys, "round_trip", stated, None, 0.0)
    assert said == "    -  Round trip (DC), %: nothing to work it out from\n"
    refused = {"value": None, "low": None, "high": None, "reason": "too few"}
    said = told(capsys, "round_trip", refused, 0.9, 0.0)
    assert said == "    -  Round trip (DC), %: not given, since too few\n"


def test_a_sum_that_is_kept_back_is_found(capsys: pytest.CaptureFixture[str]) -> None:
    refused = {"value": None, "low": None, "high": None, "reason": "nothing was measured"}
    said = told(capsys, "hours_above_35", refused, 12.0, 0.1)
    assert said.startswith("WRONG  Hours above 35 °C: not given, since nothing was measured")
    assert told(capsys, "hours_above_35", refused, None, 0.1).startswith("    -  ")


# By hand: found 100 within 2, and an interval that reaches 1 to 3 below and above.
@pytest.mark.parametrize(
    ("value", "low", "high", "good"),
    [
        (101.0, 99.0, 103.0, True),
        (101.0, 98.0, 104.0, True),
        (101.0, 99.0, 103.5, False),
        (103.0, 101.0, 105.0, False),
        (101.0, 101.5, 103.0, False),
        (101.0, 97.5, 103.0, False),
        (101.0, 99.0, 104.5, False),
        (101.0, 99.0, 101.5, False),
    ],
)
def test_a_number_agrees_with_what_is_found_and_not_with_its_own_interval(
    capsys: pytest.CaptureFixture[str], value: float, low: float, high: float, *, good: bool
) -> None:
    stated = {"value": value, "low": low, "high": high}
    said = told(capsys, "efc", stated, np.float64(100.0), 2.0, 1.0, 3.0)
    assert said.startswith("   ok" if good else "WRONG")


def test_a_pdf_that_shows_another_number_is_found(copy: Unpacked) -> None:
    results = json.loads(copy.text("results.json"))
    results["headline"]["capacity_ah"]["value"] += 0.2
    report = check.Report()
    report.results = results
    check.check_pdf((copy.folder / "evidence.pdf").read_bytes(), report)
    assert not report.agrees


def test_a_file_continues_itself(whole: Unpacked) -> None:
    status, said = whole.check(whole.folder)
    assert status == 0
    assert "links are those of the older file" in said


def test_without_all_tables_it_stops_and_says_so(copy: Unpacked) -> None:
    (copy.folder / "chain.csv").unlink()
    status, said = copy.check()
    assert status == 1
    assert said.splitlines()[-1] == "the rest was not looked at: unpack the whole file again"


def test_an_empty_table_of_readings_has_no_rows(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("time,battery.power [W]\n", encoding="utf-8")
    at_ms, series = sys.modules["check_numbers"].columns(tmp_path / "readings.csv")
    assert (at_ms.size, {name: each.size for name, each in series.items()}) == (
        0,
        {"battery.power [W]": 0},
    )


def told_by(name: str, *given: Any, **stated: Any) -> check.Report:
    report = check.Report()
    report.results = {
        "headline": {"efc": stated},
        "site": {"battery_ah": 200.0},
        "wear": {"measured": {"voltmeter_zero_v": None}},
    }
    getattr(sys.modules["check_numbers"], name)(*given, report)
    return report


def test_a_current_that_never_rests_is_added_up_as_it_is() -> None:
    # By hand: 20 A for 100 hours are 2000 Ah, and 5 of 400 Ah; 1.3 % of it is the gain's.
    at_ms, flow = np.arange(100) * 3_600_000, np.full(100, 20.0)
    stated = {"value": 5.0, "low": 4.92, "high": 5.08, "coverage_ratio": 1.0}
    assert told_by("check_cycles", at_ms, flow, [], **stated).agrees
    assert not told_by("check_cycles", at_ms, flow, [], **stated | {"value": 5.02}).agrees


def test_a_night_at_another_time_is_named(copy: Unpacked) -> None:
    line = copy.text("nights.csv").splitlines()[100]
    full, low = line.split(",")[:2]
    change(copy.folder / "nights.csv", line, line.replace(low, "2026-12-01T00:00+00:00", 1))
    sealed_anew(copy, "nights.csv")
    status, said = copy.check()
    assert status == 1
    assert f"WRONG    that of {full} is another" in said


def test_corrected_readings_are_not_compared_with_what_was_analysed(copy: Unpacked) -> None:
    text = copy.text("corrections.csv") + "battery/current,offset,0.1,,,,2026-02-01T00:00Z,\n"
    (copy.folder / "corrections.csv").write_text(text, encoding="utf-8")
    sealed_anew(copy, "corrections.csv")
    status, said = copy.check()
    assert status == 0
    assert "    -  analysed: current [A] is not compared, it was corrected" in said


def test_a_series_without_a_reading_on_a_day_is_no_part_of_its_digest() -> None:
    # Nothing is left of which the sum is made: that of no bytes.
    at_ms, nothing = np.array([0]), np.array([np.nan])
    report = check.Report()
    link = {"device": "battery", "day": "1970-01-01", "digest": hashlib.sha256(b"").hexdigest()}
    check.check_readings(at_ms, {"battery.power [W]": nothing}, [link], report)
    assert report.agrees


def test_a_battery_that_fails_is_found_to_hold_what_is_stated(tmp_path: Path) -> None:
    studio = failing_studio(tmp_path / "studio")
    made = made_evidence(studio, tmp_path / "file", now_ms=START_MS + 450 * DAY_MS)
    status, said = made.check()
    assert (status, "WRONG" in said) == (0, False)
    # One per cent a year, and 22 % since: the pack's truth.
    assert found(said, "Capacity, Ah") == pytest.approx(200 * (1 - 0.0115 - 0.22), rel=0.03)
    assert "capacity is being lost fast" in said
    # And what is stated cannot be pushed.
    results = json.loads(made.text("results.json"))
    pushed = results["headline"]["capacity_ah"]
    for name in ("value", "low", "high"):
        pushed[name] *= 1.06
    (made.folder / "results.json").write_text(json.dumps(results), encoding="utf-8")
    sealed_anew(made, "results.json")
    assert re.search(r"WRONG +Capacity, Ah", made.check()[1])
    studio.database.close()
