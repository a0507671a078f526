"""Disks that fill up."""

import resource
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def file_size_limit(most: int) -> Iterator[None]:
    """Let the system refuse to make any file of this process larger. [bytes]"""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def small_disk(directory: Path, size: int) -> Iterator[None]:
    """Mount a disk of some bytes for the block; skip the test where that is not allowed."""
    directory.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(directory)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a disk")  # pragma: no cover -- root may
    try:
        yield
    finally:
        subprocess.run(["umount", str(directory)], check=True)
