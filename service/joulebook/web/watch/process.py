"""What this process takes of the machine, where the system tells (Linux does, in /proc)."""

import os
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """Memory, time and open files of this process; ``None`` where the system does not tell."""

    resident_bytes: int | None
    cpu_s: float
    open_files: int | None
    most_files: int | None


def this_process(proc: Path = Path("/proc/self")) -> Process:
    """Return what this process takes now."""
    times = os.times()
    return Process(
        resident_bytes=_resident_bytes(proc),
        cpu_s=times.user + times.system,
        open_files=_open_files(proc),
        most_files=_most_files(proc),
    )


def _resident_bytes(proc: Path) -> int | None:
    try:
        pages = int((proc / "statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return None
    return pages * os.sysconf("SC_PAGE_SIZE")


def _open_files(proc: Path) -> int | None:
    try:
        return len(list((proc / "fd").iterdir()))
    except OSError:
        return None


def _most_files(proc: Path) -> int | None:
    """Return the limit that the system sets this process (proc(5), "Max open files")."""
    try:
        limits = (proc / "limits").read_text(encoding="ascii")
        [line] = [line for line in limits.splitlines() if line.startswith("Max open files")]
        return int(line.split()[3])
    except (OSError, ValueError, IndexError):
        return None
