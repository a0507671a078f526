"""What the kernel says of a process and of those that it started."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class SeenProcess:
    """A process at one moment."""

    resident_mb: float
    open_files: int
    threads: int


def seen(process: int) -> SeenProcess:
    """Return what a process takes now."""
    folder = Path(f"/proc/{process}")
    status = dict(
        line.split(":", 1) for line in (folder / "status").read_text().splitlines() if ":" in line
    )
    return SeenProcess(
        resident_mb=int(status["VmRSS"].split()[0]) / 1000,
        open_files=len(list((folder / "fd").iterdir())),
        threads=int(status["Threads"]),
    )


def children_of(process: int) -> list[int]:
    """Return the processes that a process has started and that still run."""
    tasks = Path(f"/proc/{process}/task").glob("*/children")
    return sorted(int(each) for task in tasks for each in _words(task))


def children_mb(process: int) -> float:
    """Return what the children of a process hold in memory together. [MB]"""
    total = 0.0
    for child in children_of(process):
        try:
            total += seen(child).resident_mb
        except (OSError, KeyError):  # pragma: no cover - whether one ends just now is a race
            continue
    return total


def _words(file: Path) -> list[str]:
    try:
        return file.read_text().split()
    except OSError:  # pragma: no cover - as above: the thread has ended meanwhile
        return []
