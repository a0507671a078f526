"""For those who watch the service: alive, ready, and its numbers."""

from fastapi import APIRouter
from fastapi.responses import JSONResponse, PlainTextResponse

from joulebook.web.metrics import CONTENT_TYPE, metrics_text
from joulebook.web.sites import Backed

router = APIRouter(tags=["watching"])


@router.get("/healthz")
async def alive() -> dict[str, str]:
    """Say that the process answers; nothing else is looked at."""
    return {"status": "alive"}


@router.get("/readyz", responses={503: {"description": "not ready; the problems say why"}})
def ready(backing: Backed) -> JSONResponse:
    """Say whether readings are taken in and kept, and what stands in the way."""
    health = backing.health()
    return JSONResponse(
        {"ready": health.ready, "problems": list(health.problems)},
        200 if health.ready else 503,
        {"Cache-Control": "no-store"},
    )


@router.get("/metrics", response_class=PlainTextResponse)
def metrics(backing: Backed) -> PlainTextResponse:
    """Return the service's numbers in the Prometheus text format."""
    text = metrics_text(backing.health(), version=backing.version)
    return PlainTextResponse(text, headers={"Content-Type": CONTENT_TYPE})
