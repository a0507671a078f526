"""Pages asked of an application in this process: its own time, without a network."""

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from joulebook.bench.questions import WrongAnswerError
from joulebook.storage.database import Database

#: An application (ASGI 3), and what makes one on a database whose clock stands still. [ms]
App = Callable[..., Awaitable[None]]
Pages = Callable[[Database, int], App]


def visited_ms(app: App, paths: Sequence[str]) -> list[float]:
    """Ask for pages, one after the other, and return what each took, the first left out. [ms]

    Raises
    ------
    WrongAnswerError
        If one is refused: its time would mean nothing.
    """
    with asyncio.Runner() as runner:
        found = [(path, *runner.run(_visit(app, path))) for path in paths]
    for path, status, _ in found:
        if status != 200:
            raise WrongAnswerError(
                f"{path} was answered with {status}",
                where="the pages of the simulated homes",
                expected="the page",
            )
    return [took_ms for *_, took_ms in found][1:]


async def _visit(app: App, path: str) -> tuple[int, float]:
    """Ask as a browser on this machine does (ASGI 3: a scope, and messages to and fro)."""
    told: list[dict[str, Any]] = []
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1"), (b"accept-encoding", b"gzip")],
        "client": ("127.0.0.1", 50000),
        "server": ("127.0.0.1", 80),
    }

    async def send(message: dict[str, Any]) -> None:
        told.append(message)

    began_s = time.perf_counter()
    await app(scope, _nothing_more, send)
    took_ms = (time.perf_counter() - began_s) * 1000
    return told[0]["status"], took_ms


async def _nothing_more() -> dict[str, Any]:
    return {"type": "http.request", "body": b"", "more_body": False}
