"""Clients of an application that takes anything, behind limits."""

from typing import Any

from fastapi import FastAPI, Request
from fastapi.testclient import TestClient

from joulebook.web.door.limits import Limits, WebLimits
from joulebook.web.problems import MEDIA_TYPE, install_problem_handlers


def client_at(address: str, limits: WebLimits) -> TestClient:
    """Return a client at an address, before an application that takes anything."""
    app = FastAPI()
    install_problem_handlers(app)

    @app.api_route("/{path:path}", methods=["GET", "POST"])
    async def take(request: Request) -> dict[str, int]:
        return {"size": len(await request.body())}

    app.add_middleware(Limits, limits=limits)
    return TestClient(app, client=(address, 50000))


def problem(answer: Any) -> tuple[int, str]:
    """Return the status and the kind of a problem document."""
    assert answer.headers["content-type"] == MEDIA_TYPE
    return answer.status_code, answer.json()["type"].removeprefix("/api/docs#problem-")
