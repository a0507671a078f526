"""The checker, in a process of its own and without joulebook: what it accepts, what it finds.

Its sums are compared with ``sha256sum`` of GNU coreutils, its numbers with the simulated pack's
truth: 200 Ah at the start, 2 % a year lost, drawn down by 180 Ah every night.
"""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from joulebook.evidence import check
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
    match = re.search(rf"{re.escape(name)}: stated .* found ([-0-9.e+]+)", said)
    assert match is not None
    return float(match[1])


def test_a_file_as_it_was_made_agrees_and_its_numbers_are_the_packs(whole: Unpacked) -> None:
    status, said = whole.check_alone()
    assert (status, "WRONG" in said) == (0, False)
    assert "all of it agrees" in said
    # 200 Ah less 2 % a year: 197 in the middle of the last half year, by its median night.
    assert found(said, "capacity, Ah") == pytest.approx(197.0, abs=1.0)
    assert found(said, "fade, share a year") == pytest.approx(0.02, abs=0.002)
    # 180 Ah down and up again, 370 times, of 200 Ah; the last day's fill is under way.
    assert found(said, "full cycles, equivalent") == pytest.approx(370 * 180 / 200, rel=0.02)


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
    assert "files: 16 of 16 are as they were made" in said


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
    assert "WRONG  capacity, Ah: stated 218 [215 to" in said


def test_nights_that_were_polished_are_found(copy: Unpacked) -> None:
    text = copy.text("nights.csv")
    polished = re.sub(r",(19\d)\.(\d+),(\d+\.\d+),(\d+\.\d+),1,", r",230.0,\3,\4,1,", text)
    assert polished != text
    (copy.folder / "nights.csv").write_text(polished, encoding="utf-8")
    status, said = copy.check()
    assert status == 1
    assert re.search(r"WRONG  nights: \d+ of 369 within 2 %", said)


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
    assert "    -  nights: none went low enough to tell the capacity" in said
    assert "   ok  round trip: stated" in said


def test_few_quarters_tell_no_fade(capsys: pytest.CaptureFixture[str]) -> None:
    report = check.Report()
    day = 86_400_000.0
    when = np.arange(100.0) * day
    check.check_fade(when, when * 0 + 200.0, {"value": 0.02, "low": 0.0, "high": 0.04}, report)
    assert "fewer than five quarters" in capsys.readouterr().out
    assert report.agrees


def test_a_number_without_a_way_to_find_it_is_not_judged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    report = check.Report()
    stated = {"value": 0.9, "low": 0.8, "high": 1.0}
    check.compare(report, "round trip", stated, None)
    check.compare(report, "round trip", {"value": None, "reason": "too few"}, 0.9)
    said = capsys.readouterr().out.splitlines()
    assert said == [
        "    -  round trip: nothing to work it out from",
        "    -  round trip: not given, since too few",
    ]
    assert report.agrees


def test_a_file_continues_itself(whole: Unpacked) -> None:
    status, said = whole.check(whole.folder)
    assert status == 0
    assert "links are those of the older file" in said


def test_without_all_tables_it_stops_and_says_so(copy: Unpacked) -> None:
    (copy.folder / "chain.csv").unlink()
    status, said = copy.check()
    assert status == 1
    assert said.splitlines()[-1] == "the rest was not looked at: unpack the whole file again"


def test_an_empty_table_of_readings_has_no_columns(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("time,battery.power [W]\n", encoding="utf-8")
    names, at_ms, columns = check.readings(tmp_path / "readings.csv")
    assert (names, at_ms.size, [each.size for each in columns]) == (["battery.power [W]"], 0, [0])
