"""The service of a data directory, as a process of its own."""

import contextlib
import os
import re
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

#: What a service that does not answer is given. [s]
PATIENCE_S = 120.0
_KB_PER_MB = 1000 / 1.024


@dataclass(frozen=True, slots=True)
class Served:
    """Where its pages are, and its process."""

    url: str
    pid: int

    def peak_mb(self) -> float:
        """Return VmHWM of proc(5): all memory that was its own at once, its program included.

        Raises
        ------
        OSError
            Where there is no /proc, or no such process.
        """
        status = Path(f"/proc/{self.pid}/status").read_text(encoding="ascii")
        [peak] = re.findall(r"^VmHWM:\s+(\d+) kB$", status, flags=re.MULTILINE)
        return int(peak) / _KB_PER_MB

    def processor_ms(self) -> float:
        """Return the processor time of all its threads so far, by proc(5)'s schedstat. [ms]

        Raises
        ------
        OSError
            As above.
        """
        spent_ns = 0
        for task in Path(f"/proc/{self.pid}/task").iterdir():
            # A thread may end between being named and being asked: what it took is lost.
            with contextlib.suppress(FileNotFoundError, ProcessLookupError):
                spent_ns += int((task / "schedstat").read_text().split()[0])
        return spent_ns / 1e6


@contextmanager
def served_pages(
    data_dir: Path, *, command: Sequence[str] = ("-m", "joulebook")
) -> Iterator[Served | None]:
    """Serve a data directory for as long as the block runs; ``None`` if it did not start."""
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("JOULEBOOK_")
    }
    environment["JOULEBOOK_LOG_LEVEL"] = "warning"
    doors = ("serve", "--data", str(data_dir), "--port", "0", "--mqtt-port", "0")
    with subprocess.Popen(
        [sys.executable, *command, *doors], stdout=subprocess.PIPE, text=True, env=environment
    ) as service:
        output = service.stdout or ()
        patience = threading.Timer(PATIENCE_S, service.kill)
        patience.start()
        try:
            found = next(
                (match for line in output if (match := re.match(r"pages: +(http://\S+)$", line))),
                None,
            )
            patience.cancel()
            yield None if found is None else Served(found[1], service.pid)
        finally:
            patience.cancel()
            # Not SIGINT: what a shell starts in the background ignores that.
            service.terminate()
            for _ in output:
                pass
