"""An application behind a real socket."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from starlette.types import ASGIApp

_PATIENCE_S = 60.0


class _Server(uvicorn.Server):
    """uvicorn in a thread, which tells when it answers."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.answers = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.answers.set()


@contextmanager
def served(app: ASGIApp) -> Iterator[str]:
    """Serve an application at a free port of this machine, and give its address."""
    listening = socket.create_server(("127.0.0.1", 0))
    # Connections inherit it. Without, each answer waits 40 ms for the other side's delayed
    # acknowledgement, since it is written in two parts.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    config = uvicorn.Config(app, log_config=None, lifespan="off", timeout_graceful_shutdown=1)
    server = _Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        assert server.answers.wait(_PATIENCE_S)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(_PATIENCE_S)
        listening.close()
