"""What was measured, with what, on which machine."""

import os
import platform
import sqlite3
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from joulebook import __version__
from joulebook.bench.plant import STEP_MS
from joulebook.bench.site import SERIES

_PACKAGES = ("numpy", "pcodec", "duckdb", "pyarrow", "pandas", "polars")


def conditions(days: int, readings: int) -> dict[str, Any]:
    """Return what belongs beside every figure; ``None`` for what is not installed."""
    return {
        "joulebook": __version__,
        "days": days,
        "series": SERIES,
        "step_s": STEP_MS // 1000,
        "readings": readings,
        "cores": os.cpu_count(),
        "processor": processor(),
        "system": platform.platform(),
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
        **{package: _version(package) for package in _PACKAGES},
    }


def processor(file: Path = Path("/proc/cpuinfo")) -> str:
    """Return the processor's name (proc(5)), or what the system calls its kind."""
    if file.exists():
        for line in file.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.machine()


def _version(package: str) -> str | None:
    try:
        return version(package)
    except PackageNotFoundError:
        return None
