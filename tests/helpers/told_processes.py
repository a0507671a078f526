"""Processes of joulebook that tell when one of their parts begins and ends its work.

``python -m tests.helpers.told_processes PART serve --data DIR …`` is ``joulebook serve``, except
that it writes a line to standard output whenever that part begins and ends, so that somebody can
kill it in the middle. Nothing else is changed.
"""

import importlib
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any

from tests.helpers.service import clean_environment

#: Where each part begins: the module, and what it calls there.
PARTS = {
    "listener": ("joulebook.ingest.mqtt.connection", "Connection.buffer_updated"),
    "writer": ("joulebook.ingest.committer", "Committer.commit"),
    "sealer": ("joulebook.storage.sealer", "seal"),
    "summariser": ("joulebook.summaries.summariser", "Summariser._compute"),
    "quarter hours": ("joulebook.summaries.summariser", "catch_up_quarters"),
    "analyst": ("joulebook.summaries.analyst", "Analyst._analyse"),
    "keeper": ("joulebook.storage.keeper", "remove_old"),
    "backup": ("joulebook.cli.care", "back_up"),
    "upgrade": ("joulebook.storage.migrating", "_upgrade"),
}
_DOORS = re.compile(r"(pages|watch|bridges|broker): +\w+://.*:(\d+)$")


class ToldProcess:
    """A started process, and what it has told. Most are killed, so their lines are not counted.

    Attributes
    ----------
    process : Popen
        In which it runs.
    ports : dict
        Those of its doors, once they are open: ``pages`` and ``bridges``, or a copy's ``watch``
        and ``bridges`` or ``broker``.
    """

    def __init__(
        self,
        part: str,
        *arguments: str,
        environment: Mapping[str, str] | None = None,
        measured: bool = False,
    ) -> None:
        self._part = part
        self._began_s = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", __name__, part, *arguments],
            stdout=subprocess.PIPE,
            text=True,
            env={
                **clean_environment(measured=measured),
                "JOULEBOOK_LOG_LEVEL": "error",
                **(environment or {}),
            },
        )
        self.ports: dict[str, int] = {}
        self.ready_s: float | None = None
        self._begun = self._ended = 0
        self._silent = False  # it has closed its output, as processes do that end
        self._changed = threading.Condition()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    @property
    def inside(self) -> bool:
        """Whether the part is at work; after a kill, whether it was."""
        return self._begun > self._ended

    @property
    def begins(self) -> int:
        """How often the part has begun."""
        return self._begun

    def wait_until_open(self, timeout_s: float = 180) -> float:
        """Wait until its doors are open and return how long that took. [s]"""
        with self._changed:
            self._changed.wait_for(lambda: self._silent or self.ready_s is not None, timeout_s)
        assert self.ready_s is not None, f"no door is open; status {self.process.poll()}"
        return self.ready_s

    def wait_for(self, begins: int, timeout_s: float = 60) -> bool:
        """Wait until the part has begun so often; return whether it did in time."""
        with self._changed:
            self._changed.wait_for(lambda: self._silent or self._begun >= begins, timeout_s)
            return self._begun >= begins

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.wait()

    def end(self) -> int:
        """End it as a shutdown does, and return its exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.wait()

    def wait(self) -> int:
        """Return its exit status once it has ended."""
        status = self.process.wait(180)
        self._reader.join(180)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return status

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._changed:
                self._take(line)
                self._changed.notify_all()
        with self._changed:
            self._silent = True
            self._changed.notify_all()

    def _take(self, line: str) -> None:
        if line == f"{self._part} begins\n":
            self._begun += 1
        elif line == f"{self._part} ends\n":
            self._ended += 1
        elif found := _DOORS.match(line):
            self.ports[found[1]] = int(found[2])
            if len(self.ports) == 2:
                self.ready_s = time.monotonic() - self._began_s


def telling(part: str, function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that does the same and tells when it begins and ends."""

    @wraps(function)
    def told(*arguments: Any, **named: Any) -> Any:
        os.write(1, f"{part} begins\n".encode())
        try:
            return function(*arguments, **named)
        finally:
            os.write(1, f"{part} ends\n".encode())

    return told


def main(part: str, arguments: list[str]) -> int:
    """Run ``joulebook`` with these arguments and have a part of it tell."""
    if part in PARTS:
        module, path = PARTS[part]
        *holders, name = path.split(".")
        place: Any = importlib.import_module(module)
        for holder in holders:
            place = getattr(place, holder)
        setattr(place, name, telling(part, getattr(place, name)))
    from joulebook.cli import main as joulebook  # after the part was changed

    return joulebook(arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2:]))
