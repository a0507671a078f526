"""The service as its own process, as a person would start it."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class RunningService:
    """A started service and its doors."""

    process: subprocess.Popen[str]
    port: int
    mqtt_port: int

    @property
    def pages(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate(timeout=120)

    def end(self) -> int:
        """End it as Ctrl-C would and return its exit status."""
        self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=120)
        return self.process.returncode


def start_service(
    *arguments: str,
    cwd: Path | None = None,
    log: Path | None = None,
    settings: Mapping[str, str] | None = None,
    measured: bool = True,
) -> RunningService:
    """Start ``joulebook`` with the arguments and wait until its doors are open.

    ``log`` is a file for what it says on standard error; ``settings`` are environment variables.
    """
    with nullcontext() if log is None else log.open("a", encoding="utf-8") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "joulebook", *arguments],
            cwd=cwd,
            stdout=subprocess.PIPE,
            stderr=said,
            text=True,
            env={**clean_environment(measured=measured), **(settings or {})},
        )
    assert process.stdout is not None
    ports = {}
    for line in process.stdout:
        if found := re.match(r"(pages|bridges): +\w+://.*:(\d+)$", line):
            ports[found[1]] = int(found[2])
        if len(ports) == 2:
            return RunningService(process, ports["pages"], ports["bridges"])
    process.communicate()
    raise AssertionError(f"it ended with {process.returncode} before its doors were open")


@contextmanager
def running_service(data_dir: Path, *, mqtt_port: int = 0) -> Iterator[RunningService]:
    """Serve a data directory on free ports for as long as the block runs."""
    service = serve(data_dir, mqtt_port=mqtt_port)
    try:
        yield service
    finally:
        if service.process.poll() is None:
            service.end()


def serve(
    data_dir: Path,
    *,
    mqtt_port: int = 0,
    log: Path | None = None,
    settings: Mapping[str, str] | None = None,
    measured: bool = True,
) -> RunningService:
    """Start ``joulebook serve`` on a data directory."""
    ports = ("--port", "0", "--mqtt-port", str(mqtt_port))
    where = ("--data", str(data_dir))
    return start_service("serve", *where, *ports, log=log, settings=settings, measured=measured)


def clean_environment(*, measured: bool = True) -> dict[str, str]:
    """Return the environment without settings of the person who runs the tests.

    A process that is not ``measured`` counts no covered lines, and so starts and works faster. It
    is for those that a test kills: their counts would be lost with them.
    """
    others = ("JOULEBOOK_",) if measured else ("JOULEBOOK_", "COVERAGE_PROCESS_")
    return {name: value for name, value in os.environ.items() if not name.startswith(others)}


def unused_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])
