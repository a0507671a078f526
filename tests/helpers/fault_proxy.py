"""A proxy between a client and a server that delays, cuts and corrupts what passes."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Takes a piece of what the server said and returns what the client gets; ``None`` hangs up.
Fault = Callable[[bytes], bytes | None]


class FaultProxy:
    """Passes everything on until it is given a fault.

    Attributes
    ----------
    fault : callable or None
        Applied to each piece that comes from the server.
    delay_s : float
        How long each piece from the server is held back. [s]
    cut_at : float or None
        The share of the next piece from a client that is still passed on before everybody is
        hung up on; then it is ``None`` again.
    connections : int
        How many clients have come.
    """

    def __init__(self, port: int) -> None:
        self._port = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.fault: Fault | None = None
        self.delay_s = 0.0
        self.cut_at: float | None = None
        self.connections = 0
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._sockets: list[socket.socket] = []

    def start(self) -> None:
        self._run(self._accept)

    def stop(self) -> None:
        self._stop.set()
        self.cut()
        self._listener.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()
        self._listener.close()
        for each in self._sockets:
            each.close()

    def cut(self) -> None:
        """Hang up on everybody."""
        for each in self._sockets:
            try:
                each.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue  # the other end was faster

    def _run(self, work: Callable[..., None], *arguments: object) -> None:
        thread = threading.Thread(target=work, args=arguments)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return  # stopped
            self.connections += 1
            server = socket.create_connection(("127.0.0.1", self._port))
            self._sockets += [client, server]
            self._run(self._pass_on, client, server, False)
            self._run(self._pass_on, server, client, True)

    def _pass_on(self, source: socket.socket, target: socket.socket, with_faults: bool) -> None:
        while True:
            try:
                data = source.recv(65536)
            except OSError:  # pragma: no cover - whether a cut looks like an error is a race
                data = b""
            if data and with_faults:
                self._stop.wait(self.delay_s)
                data = (self.fault(data) if self.fault else data) or b""
            elif data and self.cut_at is not None:
                data, self.cut_at = data[: max(1, round(len(data) * self.cut_at))], None
                target.sendall(data)
                self.cut()
                return
            try:
                if data:
                    target.sendall(data)
                    continue
                target.shutdown(socket.SHUT_RDWR)
                source.shutdown(socket.SHUT_RDWR)
            except OSError:  # pragma: no cover - as above: it is closed already
                pass
            return


@contextmanager
def fault_proxy(port: int) -> Iterator[FaultProxy]:
    """Run a proxy in front of a port until the block ends."""
    proxy = FaultProxy(port)
    proxy.start()
    try:
        yield proxy
    finally:
        proxy.stop()
