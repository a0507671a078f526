"""Each fault once, on a small scale: in equals out. ``python -m tests.faults`` does all of them."""

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from tests.faults import __main__ as command
from tests.faults import (
    brokers,
    clocks,
    crowds,
    disks,
    keeping,
    kills,
    locks,
    network,
    upgrades,
    zones,
)
from tests.faults.told import Told, counted, table
from tests.helpers.told_processes import ToldProcess
from tests.told_pages import replaced

SMALL: dict[str, Callable[[Path], Told]] = {
    "keeper": lambda folder: keeping.killed_keepers(folder, 1, months=16),
    "upgrade": lambda folder: upgrades.killed_upgrades(folder, 1),
    "downgrade": upgrades.downgraded,
    "takeover": lambda folder: network.taken_over(folder, 40),
    "cut": lambda folder: network.cut_in_packets(folder, 2),
    "full": disks.full_disk,
    "becomes read-only": disks.becomes_read_only,
    "starts read-only": disks.starts_read_only,
    "slow": lambda folder: disks.slow_disk(folder, 200),
    "ahead": clocks.ahead_and_back,
    "behind": clocks.behind,
    "zone data": zones.new_zone_data,
    "clocks change": zones.clocks_change,
    "leap second": zones.leap_second,
    "locked": lambda folder: locks.locked(folder, 0.5),
    "backup": lambda folder: locks.backed_up(folder, 1),
    "crowd": lambda folder: crowds.crowd(folder, 120),
}


def test_each_part_is_killed_at_its_work_and_nothing_is_lost(tmp_path: Path) -> None:
    rows = kills.kill_rounds(tmp_path, len(kills.AIMS), seed=8)
    assert [row for row in rows if not row.whole] == []
    assert rows[-1].sent > len(kills.AIMS) * kills.MESSAGES
    assert sum(row.struck for row in rows[:-1]) >= 3  # the others came a moment too late


@pytest.mark.outside
@pytest.mark.parametrize("name", SMALL)
def test_nothing_is_lost_by_it(tmp_path: Path, name: str) -> None:
    told = SMALL[name](tmp_path)
    assert told.whole, told
    assert told.sent > 0
    assert told.acknowledged == told.sent


@pytest.mark.outside
def test_nothing_is_lost_at_a_broker(tmp_path: Path) -> None:
    rows = brokers.strikes(tmp_path, 1)
    assert len(rows) == 3
    assert [row for row in rows if not row.whole] == []


def test_more_bridges_than_there_is_room_for_come_in_one_after_another(tmp_path: Path) -> None:
    told = crowds.crowd(tmp_path, 60, most=40)
    assert told.whole, told


def test_a_part_that_is_left_alone_tells_of_its_end(tmp_path: Path) -> None:
    Database.open(tmp_path).close()
    arguments = ("backup", str(tmp_path / "copy.sqlite3"), f"--data={tmp_path}")
    backup = ToldProcess("backup", *arguments, measured=True)
    assert backup.wait_for(1)
    assert backup.wait() == 0
    assert not backup.inside
    assert not backup.wait_for(2)
    with pytest.raises(AssertionError, match="no door is open; status 0"):
        backup.wait_until_open()
    silent = ToldProcess("none", "verify", f"--data={tmp_path}", measured=True)
    assert silent.wait() == 0
    assert not silent.wait_for(1)


def test_what_is_lost_or_doubled_is_counted() -> None:
    told = counted("chipped", range(10), [0, 1, 1, 2, 3, 4, 5, 6, 7, 99], rounds=2)
    # 8 and 9 are nowhere; 1 is there twice, and nobody sent 99.
    assert (told.lost, told.doubled, told.stored, told.whole) == (2, 2, 9, False)
    assert "| chipped | 2 | 2 | 10 | 10 | 9 | 2 | 2 |  |" in table([told])


def test_the_command_prints_its_table_and_writes_it_to_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def not_here(_: Path) -> Told:
        pytest.skip("this user may not mount a disk")

    page = tmp_path / "faults.md"
    page.write_text("# Faults\n<!-- faults -->\n<!-- end of faults -->\n", encoding="utf-8")
    monkeypatch.setattr(command, "PAGE", page)
    monkeypatch.setattr(
        command,
        "faults",
        lambda rounds, seed: [
            not_here,
            lambda _: counted("glaze", range(rounds), range(seed)),
            lambda _: [counted("kiln", range(3), range(3))],
        ],
    )
    monkeypatch.setattr(sys, "argv", ["faults", "--rounds", "5", "--seed", "4", "--write"])
    assert command.main() == 1  # one of five is lost
    told = capsys.readouterr()
    assert "| glaze | 1 | 1 | 5 | 5 | 4 | 1 | 0 |  |" in told.out
    assert "left out: this user may not mount a disk" in told.err
    assert "| kiln | 1 | 1 | 3 | 3 | 3 | 0 | 0 |  |\n<!-- end of faults -->" in page.read_text()
    monkeypatch.setattr(sys, "argv", ["faults", "--rounds", "4", "--seed", "4"])
    assert command.main() == 0


def test_a_page_without_the_place_is_not_written() -> None:
    with pytest.raises(ValueError, match="0 places for 'faults'"):
        replaced("# Faults\n", "faults", "")


def test_the_page_has_a_row_for_every_fault() -> None:
    page = command.PAGE.read_text(encoding="utf-8")
    named = re.findall(r"^\| ([^|]+) \|", page, flags=re.MULTILINE)
    assert len(named) > len(command.faults(8, 1)) + len(kills.AIMS)


def test_it_says_how_to_use_it() -> None:
    for module in ("tests.faults", "tests.soak"):
        done = subprocess.run(
            [sys.executable, "-m", module, "--help"], capture_output=True, check=True
        )
        assert b"usage" in done.stdout
