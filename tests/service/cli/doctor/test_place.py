import os
import shutil
from collections.abc import Iterable
from pathlib import Path

import pytest

from joulebook.cli.doctor import place
from joulebook.cli.doctor.findings import Finding
from joulebook.cli.doctor.place import check_directory, check_file_system, check_room, check_sync
from joulebook.cli.health import LITTLE_ROOM_BYTES
from joulebook.storage.room import Room
from tests.helpers.small_disks import file_size_limit, small_disk


def verdicts(findings: Iterable[Finding]) -> list[tuple[str, str]]:
    return [(one.about, one.verdict) for one in findings]


def test_a_directory_of_one_user_alone_is_well(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    [finding] = check_directory(tmp_path)
    assert finding.verdict == "well"
    assert finding.sentence.startswith(f"{tmp_path} belongs to ")


def test_no_directory_is_trouble(tmp_path: Path) -> None:
    [finding] = check_directory(tmp_path / "none")
    assert (finding.verdict, finding.status) == ("trouble", 3)
    assert "check --data" in finding.next_step


def test_a_directory_that_others_may_read_is_told_with_the_command(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    [finding] = check_directory(tmp_path)
    assert (finding.about, finding.verdict) == ("permissions", "look")
    assert finding.next_step == f"chmod 700 {tmp_path}"


def test_a_directory_that_cannot_be_written_names_its_owner(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tmp_path.chmod(0o700)
    # Root may everything, so the system's answer to others is put here.
    monkeypatch.setattr(os, "access", lambda *_: False)
    first = next(check_directory(tmp_path))
    assert (first.about, first.verdict) == ("data directory", "trouble")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give files away")
def test_files_of_two_users_are_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    (tmp_path / "file").touch()
    os.chown(tmp_path / "file", 54_321, -1)
    [finding] = check_directory(tmp_path)
    assert (finding.about, finding.verdict) == ("owner", "look")
    assert "user 54321" in finding.sentence


#: Lines as proc(5) describes them, "/proc/pid/mountinfo"; made up.
MOUNTS = """\
21 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
40 21 0:35 / {folder}/with\\040space rw shared:9 - nfs4 nas:/house rw
41 21 0:36 / {folder}/stick rw shared:9 - vfat /dev/sdb1 rw
"""


@pytest.mark.parametrize(
    ("name", "verdict", "status"),
    [("plain", "well", 3), ("with space", "trouble", 4), ("stick", "well", 3)],
)
def test_a_network_share_is_trouble(tmp_path: Path, name: str, verdict: str, status: int) -> None:
    (tmp_path / "mountinfo").write_text(MOUNTS.format(folder=tmp_path.resolve()))
    (tmp_path / name).mkdir()
    [finding] = check_file_system(tmp_path / name, tmp_path / "mountinfo")
    assert (finding.verdict, finding.status) == (verdict, status)


def test_a_system_that_does_not_tell_its_mounts(tmp_path: Path) -> None:
    [finding] = check_file_system(tmp_path, tmp_path / "none")
    assert finding.verdict == "unknown"


def test_this_machine_tells_its_mounts(tmp_path: Path) -> None:
    [finding] = check_file_system(tmp_path)
    assert finding.verdict in ("well", "trouble")


def room(free_bytes: int, free_files: int | None = None) -> Room:
    return Room(
        free_bytes=free_bytes,
        size_bytes=10**12,
        free_files=free_files,
        database_bytes=10**8,
        writable=True,
    )


@pytest.mark.parametrize(
    ("free", "grows", "verdict"),
    [
        (room(10**6), None, "trouble"),
        (room(LITTLE_ROOM_BYTES - 1), None, "look"),
        (room(10**9), None, "well"),
        (room(10**9), 50_000.0, "well"),
        (room(10**9), 5_000_000.0, "look"),
    ],
)
def test_room_is_held_against_growth(
    free: Room, grows: float | None, verdict: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(place, "room_of", lambda _dir: free)
    [finding] = check_room(Path(), grows)
    assert finding.verdict == verdict


def test_years_of_room_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "room_of", lambda _dir: room(10**9, 50))
    enough, files = check_room(Path(), 50_000.0)
    # By hand: 1e9 B / 5e4 B a day = 20000 days = 54.8 years.
    assert enough.sentence == "1.0 GB free; at 0.1 MB a day enough for 55 years"
    assert (files.about, files.verdict) == ("files", "look")


def test_the_disk_is_written_and_nothing_stays(tmp_path: Path) -> None:
    [finding] = check_sync(tmp_path)
    assert finding.about == "disk"
    assert list(tmp_path.iterdir()) == []


def test_a_slow_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "SLOW_SYNC_S", -1.0)
    [finding] = check_sync(tmp_path)
    assert finding.verdict == "look"


def test_a_fast_disk_is_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "SLOW_SYNC_S", 1e9)
    [finding] = check_sync(tmp_path)
    assert finding.verdict == "well"


def test_a_full_disk_is_trouble_and_leaves_nothing(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    with small_disk(disk, 65_536):
        (disk / "filler").write_bytes(bytes(shutil.disk_usage(disk).free))
        [finding] = check_sync(disk)
        left = [path.name for path in disk.iterdir()]
    assert finding.verdict == "trouble"
    assert "cannot be written" in finding.sentence
    assert left == ["filler"]


def test_a_file_that_may_not_grow_is_trouble_too(tmp_path: Path) -> None:
    with file_size_limit(1000):
        [finding] = check_sync(tmp_path)
    assert finding.verdict == "trouble"
    assert list(tmp_path.iterdir()) == []


def test_a_directory_that_is_gone_cannot_be_written(tmp_path: Path) -> None:
    assert verdicts(check_sync(tmp_path / "gone")) == [("disk", "trouble")]
