"""What the handlers stand on: the database, the clock, health, version, assets, templates."""

from collections.abc import Callable
from dataclasses import dataclass

from fastapi import Request
from jinja2 import Environment

from joulebook.storage.database import Database
from joulebook.web.assets import Assets
from joulebook.web.health import Health


@dataclass(frozen=True, slots=True, kw_only=True)
class Backing:
    """The parts that `build_app` was given or made; one for the whole application."""

    database: Database
    clock_ms: Callable[[], int]  # now [ms, UTC epoch]
    health: Callable[[], Health]
    version: str
    assets: Assets
    templates: Environment

    def render(self, template: str, **shown: object) -> str:
        """Return a page of HTML."""
        return self.templates.get_template(template).render(shown)


def backing_in(request: Request) -> Backing:
    """Return the backing of the application that handles the request."""
    backing: Backing = request.app.state.backing
    return backing


async def backing_of(request: Request) -> Backing:
    """Return the same to a handler; a coroutine, so that it costs no trip to a thread."""
    return backing_in(request)
