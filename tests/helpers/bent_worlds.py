"""A machine whose clock is set, whose disk is slow or takes nothing: for processes of ours."""

import mmap
import struct
import subprocess
from pathlib import Path

from tests.helpers.outside import needs_program

SOURCE = Path(__file__).with_name("bent_world.c")


class BentWorld:
    """What a process started with `environment` finds; may be changed while it runs."""

    def __init__(self, folder: Path) -> None:
        library, state = folder / "bent.so", folder / "bent.state"
        command = [needs_program("cc"), "-shared", "-fPIC", "-O1", "-o", str(library), str(SOURCE)]
        subprocess.run([*command, "-ldl"], check=True)
        state.write_bytes(bytes(24))
        self.environment = {"LD_PRELOAD": str(library), "BENT_WORLD": str(state)}
        with state.open("r+b") as file:
            self._state = mmap.mmap(file.fileno(), 24)

    def set_clock(self, ahead_ms: int) -> None:
        """Set the clock on the wall ahead of the true time, or behind."""
        self._set(0, ahead_ms)

    def slow_syncs(self, longer_ms: int) -> None:
        """Let each sync to disk take longer."""
        self._set(8, longer_ms)

    def refuse_writes(self, error: int) -> None:
        """Give an error for whatever is written to a database; 0 gives none."""
        self._set(16, error)

    def _set(self, place: int, number: int) -> None:
        self._state[place : place + 8] = struct.pack("=q", number)
