"""The studio's annex: an invented plant that the real bridge reads, where the bridge is installed.

Registers → bridge → its spool → MQTT → the service, all on this machine, as with real equipment.
The bridge is a distribution of its own: it is started as the program that it is, never imported.
"""

import logging
import os
import subprocess
import sys
import threading
from importlib.util import find_spec
from pathlib import Path

_log = logging.getLogger(__name__)

ANNEX = "annex"
#: What the plant's battery is rated, as its registers say.
ANNEX_AH, ANNEX_CELLS = 314.0, 16
_PROGRAM = "joulebook_bridge"
_GRACE_S = 10.0


def bridge_is_installed() -> bool:
    """Tell whether the bridge can be started."""
    return find_spec(_PROGRAM) is not None


class BridgedAnnex:
    """A simulated plant and the bridge that reads it, as two programs.

    Parameters
    ----------
    folder : Path
        Holds the bridge's configuration and its spool; made when missing.
    host, port : str and int
        Where the service takes readings in.
    name, secret : str
        The bridge's name and its token, for the site `annex`.
    """

    def __init__(self, folder: Path, host: str, port: int, name: str, secret: str) -> None:
        self._file = folder / "annex.toml"
        self._environment = {
            **os.environ,
            "JOULEBOOK_BRIDGE_SERVER": f"mqtt://{host}:{port}",
            "JOULEBOOK_BRIDGE_SITE": ANNEX,
            "JOULEBOOK_BRIDGE_NAME": name,
            "JOULEBOOK_BRIDGE_TOKEN": secret,
        }
        self._programs: list[subprocess.Popen[str]] = []
        self._changing = threading.Lock()
        self._stopped = False
        self._thread = threading.Thread(target=self._run, name="annex", daemon=True)

    def start(self) -> None:
        """Start both programs, without waiting for them."""
        self._file.parent.mkdir(parents=True, exist_ok=True)
        self._thread.start()

    def stop(self) -> None:
        """End the bridge, which keeps on disk what is not delivered, and then the plant."""
        with self._changing:
            self._stopped = True
            programs = self._programs[::-1]
        for program in programs:
            _end(program)
        self._thread.join(_GRACE_S)

    def _run(self) -> None:
        plant = self._start("simulate", "--port=0", f"--write={self._file}")
        if plant is None or plant.stdout is None:
            return
        if not any(line.startswith("wrote") for line in plant.stdout):
            _log.warning("the annex is not shown: its simulated plant ended")
            return
        # The machine's clock is believed at once: nothing here was just switched on.
        text = self._file.read_text(encoding="utf-8")
        written = text.replace("[spool]\n", "[spool]\nclock_wait_s = 0\n", 1)
        self._file.write_text(written, encoding="utf-8")
        self._start("run", str(self._file))

    def _start(self, *arguments: str) -> "subprocess.Popen[str] | None":
        with self._changing:
            if self._stopped:
                return None
            program = subprocess.Popen(
                [sys.executable, "-m", _PROGRAM, *arguments],
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                process_group=0,  # Ctrl-C is answered by us, in order
            )
            self._programs.append(program)
            return program


def _end(program: "subprocess.Popen[str]") -> None:
    program.terminate()
    try:
        program.communicate(timeout=_GRACE_S)
    except subprocess.TimeoutExpired:
        program.kill()
        program.communicate()
