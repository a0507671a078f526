"""uvicorn, as it serves the pages."""

import contextlib
from collections.abc import Iterator

import uvicorn
from starlette.types import ASGIApp

from joulebook.cli.stopping import SETTLE_S
from joulebook.settings import Settings
from joulebook.web.door.connections import MOST_OF_A_HEAD, WebConnection


class WebServer(uvicorn.Server):
    """uvicorn without its own signal handlers, which would end the process before the writer."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to the service."""
        yield

    def stop(self) -> None:
        """Finish the requests under way and return from ``serve``."""
        self.should_exit = True


def web_server(app: ASGIApp, settings: Settings) -> WebServer:
    """Return the server of an application."""
    return WebServer(
        uvicorn.Config(
            app,
            log_config=None,
            access_log=False,  # an address may hold a secret: a welcome, a shared page
            lifespan="off",
            http=WebConnection,
            h11_max_incomplete_event_size=MOST_OF_A_HEAD,
            ws="none",
            server_header=False,
            timeout_graceful_shutdown=round(SETTLE_S),
            # By itself it would believe any program at this machine.
            proxy_headers=bool(settings.trusted_proxies),
            forwarded_allow_ips=settings.trusted_proxies,
        )
    )
