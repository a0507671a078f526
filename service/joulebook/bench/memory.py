"""How much memory the service takes while somebody looks at a year."""

import os
import re
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import IO

#: What a service that does not answer is given. [s]
PATIENCE_S = 120.0
_KB_PER_MB = 1000 / 1.024


def peak_mb(
    data_dir: Path, paths: Sequence[str], *, command: Sequence[str] = ("-m", "joulebook")
) -> float | str:
    """Serve a data directory, ask for pages one after the other, and return the peak. [MB]

    That is VmHWM of proc(5): all memory that was the service's own at once, its program
    included. Where it cannot be had, the reason comes back.
    """
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("JOULEBOOK_")
    }
    environment["JOULEBOOK_LOG_LEVEL"] = "warning"
    doors = ("serve", "--data", str(data_dir), "--port", "0", "--mqtt-port", "0")
    with subprocess.Popen(
        [sys.executable, *command, *doors], stdout=subprocess.PIPE, text=True, env=environment
    ) as service:
        patience = threading.Timer(PATIENCE_S, service.kill)
        patience.start()
        try:
            return _asked(service, paths)
        finally:
            # Not SIGINT: what a shell starts in the background ignores that.
            service.terminate()
            _drain(service.stdout)
            patience.cancel()


def _asked(service: subprocess.Popen[str], paths: Sequence[str]) -> float | str:
    pages = _address(service.stdout)
    if pages is None:
        return "the service did not start"
    try:
        for path in paths:
            with urllib.request.urlopen(pages + path, timeout=PATIENCE_S) as answer:
                answer.read()
        status = Path(f"/proc/{service.pid}/status").read_text(encoding="ascii")
    except urllib.error.HTTPError as error:
        return f"{error.url.removeprefix(pages)} was answered with {error.code}"
    except OSError as error:
        return f"the service or its memory could not be read: {error}"
    [peak] = re.findall(r"^VmHWM:\s+(\d+) kB$", status, flags=re.MULTILINE)
    return int(peak) / _KB_PER_MB


def _address(output: IO[str] | None) -> str | None:
    for line in output or ():
        if found := re.match(r"pages: +(http://\S+)$", line):
            return found[1]
    return None


def _drain(output: IO[str] | None) -> None:
    for _ in output or ():
        pass
