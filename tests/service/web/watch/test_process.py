import os
import resource
import sys
from pathlib import Path

import pytest

from joulebook.web.watch.process import this_process

#: As proc(5) shows them; made up.
LIMITS = """\
Limit                     Soft Limit           Hard Limit           Units
Max processes             7000                 7000                 processes
Max open files            512                  4096                 files
"""


def test_numbers_of_proc_are_read(tmp_path: Path) -> None:
    (tmp_path / "statm").write_text("9000 250 100 1 0 300 0\n")
    (tmp_path / "limits").write_text(LIMITS)
    (tmp_path / "fd").mkdir()
    for number in range(3):
        (tmp_path / "fd" / str(number)).touch()
    process = this_process(tmp_path)
    # proc(5): the second number of statm is the resident set in pages.
    assert process.resident_bytes == 250 * os.sysconf("SC_PAGE_SIZE")
    assert (process.open_files, process.most_files) == (3, 512)
    assert process.cpu_s > 0


def test_a_system_without_proc_tells_nothing(tmp_path: Path) -> None:
    process = this_process(tmp_path / "none")
    assert process.resident_bytes is None
    assert process.open_files is None
    assert process.most_files is None


def test_a_process_without_a_limit_has_none(tmp_path: Path) -> None:
    (tmp_path / "limits").write_text("Max open files            unlimited            unlimited\n")
    assert this_process(tmp_path).most_files is None


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has this /proc")
def test_this_very_process_agrees_with_what_python_knows_of_it() -> None:
    process = this_process()
    peak_bytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    assert process.resident_bytes is not None
    assert 0 < process.resident_bytes <= peak_bytes * 1.1
    assert process.most_files == resource.getrlimit(resource.RLIMIT_NOFILE)[0]
