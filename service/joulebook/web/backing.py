"""What the handlers stand on: database, clock, health, version, analyses, assets, templates."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Protocol

from fastapi import Request
from jinja2 import Environment

from joulebook.errors import JoulebookError
from joulebook.evidence.shelf import EvidenceShelf
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.throttle import Throttle
from joulebook.storage.catalogue import site_names
from joulebook.storage.database import Database
from joulebook.web.access.actor import Actor
from joulebook.web.access.rules import AccessRules
from joulebook.web.access.sharing import Seals
from joulebook.web.access.who import asked
from joulebook.web.analyses import Analyses
from joulebook.web.assets import Assets
from joulebook.web.homes.order import HomeOrder
from joulebook.web.spans.comparisons import Comparisons
from joulebook.web.watch.health import Health


class Inbox(Protocol):
    """What the door for readings by HTTP asks of the writer behind it."""

    def put(
        self, messages: Sequence[Message], settled: Callable[[Sequence[Verdict]], None]
    ) -> None:
        """Take messages without waiting; ``settled`` is called once they are on disk."""

    def has_room(self) -> bool:
        """Tell whether more may come."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Backing:
    """The parts that `build_app` was given or made; one for the whole application."""

    database: Database
    clock_ms: Callable[[], int]  # now [ms, UTC epoch]
    health: Callable[[], Health]
    inbox: Inbox
    wrote: Callable[[], None]  # to be called after readings were written past the inbox
    version: str
    analyses: Analyses
    comparisons: Comparisons
    assets: Assets
    templates: Environment
    rules: AccessRules
    seals: Seals
    security_headers: Mapping[str, str]  # of every answer
    shelf: EvidenceShelf
    homes: HomeOrder = field(default_factory=HomeOrder)
    sign_ins: Throttle = field(default_factory=Throttle)  # of those who guess at passwords

    def render(self, template: str, **shown: object) -> str:
        """Return a page of HTML; ``actor`` is who asks, and ``here`` for which address."""
        now = asked.get()
        several = partial(_sees_several, self.database, now.actor)
        shown = {"actor": now.actor, "here": now.address, "several_homes": several, **shown}
        if "data_dir" in shown and now.actor.kind != "house":
            shown["data_dir"] = "DIR"  # where the files are is for whoever sits at the machine
        return self.templates.get_template(template).render(shown)


def _sees_several(database: Database, actor: Actor) -> bool:
    """Tell whether somebody may see more homes than one, so that their page is of use to him."""
    if actor.everywhere is None:
        return len(actor.at) > 1
    try:
        return len(site_names(database, most=2)) > 1
    except JoulebookError:
        return False  # a page that tells of just this must not fail of it


def backing_in(request: Request) -> Backing:
    """Return the backing of the application that handles the request."""
    backing: Backing = request.app.state.backing
    return backing


async def backing_of(request: Request) -> Backing:
    """Return the same to a handler; a coroutine, so that it costs no trip to a thread."""
    return backing_in(request)
