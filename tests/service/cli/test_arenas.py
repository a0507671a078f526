"""The count of arenas is glibc's own, by malloc_info(3)."""

import platform
import subprocess
import sys
from pathlib import Path

import pytest

from joulebook.cli import arenas

_COUNTING = """
import ctypes, sys, threading
from joulebook.cli.arenas import share_one_arena

if sys.argv[1] == "shared":
    share_one_arena()
libc = ctypes.CDLL(None)
libc.malloc.restype = libc.fopen.restype = ctypes.c_void_p
ready, done = threading.Barrier(5), threading.Barrier(5)

def allocate():
    libc.malloc(1000)
    ready.wait()
    done.wait()

threads = [threading.Thread(target=allocate) for _ in range(4)]
for each in threads:
    each.start()
ready.wait()
file = ctypes.c_void_p(libc.fopen(sys.argv[2].encode(), b"w"))
libc.malloc_info(0, file)
libc.fclose(file)
done.wait()
"""


def _arenas(how: str, told: Path) -> int:
    subprocess.run([sys.executable, "-c", _COUNTING, how, str(told)], check=True)
    return told.read_text(encoding="ascii").count("<heap nr=")


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="malloc_info(3) is glibc's")
def test_threads_share_one_arena(tmp_path: Path) -> None:
    assert _arenas("shared", tmp_path / "shared.xml") == 1
    assert _arenas("apart", tmp_path / "apart.xml") > 1


def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def without_mallopt(name: str | None) -> object:
        asked.append(name)
        return object()

    monkeypatch.setattr("joulebook.cli.arenas.ctypes.CDLL", without_mallopt)
    arenas.share_one_arena()
    assert asked == [None]
