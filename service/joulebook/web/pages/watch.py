"""For those who watch the service: alive, ready, and its numbers."""

from contextlib import closing
from dataclasses import replace

from fastapi import APIRouter
from fastapi.responses import JSONResponse, PlainTextResponse

from joulebook.errors import UnavailableError
from joulebook.storage.quarantine import SetAside, set_aside
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.sites import Backed
from joulebook.web.watch.exposition import CONTENT_TYPE
from joulebook.web.watch.metrics import metrics_text
from joulebook.web.watch.process import this_process

router = APIRouter(tags=["watching"])


@router.get("/healthz")
async def alive() -> dict[str, str]:
    """Say that the process answers; nothing else is looked at."""
    return {"status": "alive"}


@router.get("/readyz", responses={503: {"description": "not ready; the problems say why"}})
def ready(actor: Asking, backing: Backed) -> JSONResponse:
    """Say whether a reading that is sent now would be stored, and what else does not work.

    The problems, which may name sites, are told to those who are signed in and may see all
    sites, to this very machine, and to a token for metrics.
    """
    health = backing.health()
    told: dict[str, object] = {"ready": health.ready}
    if _may_know(actor):
        told["problems"] = list(health.problems)
    return JSONResponse(told, 200 if health.ready else 503, {"Cache-Control": "no-store"})


@router.get("/metrics", response_class=PlainTextResponse)
def metrics(backing: Backed) -> PlainTextResponse:
    """Return the service's numbers in the Prometheus text format."""
    health = replace(backing.health(), set_aside=_set_aside(backing))
    text = metrics_text(health, this_process(), version=backing.version)
    return PlainTextResponse(text, headers={"Content-Type": CONTENT_TYPE})


def _set_aside(backing: Backing) -> list[SetAside]:
    """Return what is set aside; nothing where the database is away, of which other numbers tell."""
    try:
        with closing(backing.database.connect()) as connection:
            return set_aside(connection, None)
    except UnavailableError:
        return []


def _may_know(actor: Actor) -> bool:
    return actor.watches or actor.everywhere is not None
