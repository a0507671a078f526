import os
import subprocess
import sys
from pathlib import Path

import pytest

from joulebook.errors import UnavailableError
from joulebook.storage.lock import FILE_NAME, only_service

HOLD = """
import sys
from pathlib import Path
from joulebook.storage.lock import only_service
with only_service(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def hold(data_dir: Path) -> "subprocess.Popen[str]":
    """Start a process that holds the lock, and wait until it does."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(data_dir)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_the_second_is_refused_and_told_the_first_ones_process(tmp_path: Path) -> None:
    first = hold(tmp_path)
    with pytest.raises(UnavailableError) as caught:
        only_service(tmp_path).__enter__()
    first.communicate("")
    assert f"as process {first.pid}" in caught.value.what
    assert f"kill {first.pid}" in caught.value.next_step
    assert caught.value.exit_status == 3
    assert len(str(caught.value).splitlines()) == 4


def test_the_second_in_the_same_process_is_refused_too(tmp_path: Path) -> None:
    with (
        only_service(tmp_path),
        pytest.raises(UnavailableError, match=f"as process {os.getpid()}"),
    ):
        only_service(tmp_path).__enter__()


def test_kill_9_lets_go_of_it(tmp_path: Path) -> None:
    first = hold(tmp_path)
    first.kill()
    first.communicate()
    with only_service(tmp_path):
        assert (tmp_path / FILE_NAME).read_text(encoding="ascii") == f"{os.getpid()}\n"


def test_an_end_lets_go_of_it_and_other_directories_do_not_matter(tmp_path: Path) -> None:
    with only_service(tmp_path / "one"), only_service(tmp_path / "two"):
        pass
    with only_service(tmp_path / "one"):
        pass


def test_one_that_has_not_yet_told_its_process_refuses_all_the_same(tmp_path: Path) -> None:
    with only_service(tmp_path):
        (tmp_path / FILE_NAME).write_bytes(b"")
        with pytest.raises(UnavailableError, match=r"^another service runs in this data dir"):
            only_service(tmp_path).__enter__()


def test_a_directory_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(UnavailableError, match="the data directory cannot be used"):
        only_service(tmp_path / "file" / "house").__enter__()
