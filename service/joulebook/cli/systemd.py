"""Words to a service manager over its socket: ready, still alive, stopping.

The protocol is that of sd_notify(3): one datagram of ``NAME=VALUE`` lines to the socket that the
environment names. Where it names none, nobody listens and nothing is said.
"""

import contextlib
import socket
from collections.abc import Mapping


class ServiceManager:
    """Whoever started this process, if it wants to hear of it.

    Parameters
    ----------
    environ : mapping
        ``NOTIFY_SOCKET`` is a path, or a name after ``@`` (Linux's abstract sockets).
    """

    def __init__(self, environ: Mapping[str, str]) -> None:
        self._address = environ.get("NOTIFY_SOCKET", "")

    def ready(self, status: str) -> None:
        """Say that every door is open."""
        self._say(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """Say that the vital workers get on; silence makes it start the service anew."""
        self._say("WATCHDOG=1")

    def stopping(self, status: str) -> None:
        """Say that the service is on its way out."""
        self._say(f"STOPPING=1\nSTATUS={status}")

    def _say(self, words: str) -> None:
        if not self._address:
            return
        name = f"\0{self._address[1:]}" if self._address.startswith("@") else self._address
        # A manager that does not listen is no reason to stop taking readings in.
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as said:
            said.sendto(words.encode(), name)
