"""A service that runs in this process, and a test that acts on it meanwhile."""

import asyncio
import os
import signal
import threading
from collections.abc import Callable

from joulebook.cli.running import Running


def while_it_runs(service: Running, act: Callable[[], object], *, ends: bool = True) -> None:
    """Run the service, act in a thread of its own once its doors are open, and stop it.

    What the act raises is raised here. With ``ends`` false the service ends by itself.
    """
    failures: list[BaseException] = []

    def acting() -> None:
        try:
            act()
        except BaseException as failure:  # noqa: BLE001 # pragma: no cover -- a test that fails
            failures.append(failure)
        if ends or failures:
            os.kill(os.getpid(), signal.SIGTERM)

    thread = threading.Thread(target=acting)
    try:
        asyncio.run(service.run(thread.start))
    finally:
        thread.join()
        if failures:  # pragma: no cover -- only of a test that fails
            raise failures[0]
