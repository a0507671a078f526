"""Readings by HTTP: one message or a piece of a CSV file, answered once they are on disk."""

import asyncio
import io
from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from starlette.concurrency import run_in_threadpool

from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.tables import import_csv_stream
from joulebook.ingest.topics import PREFIX
from joulebook.storage.catalogue import site_named
from joulebook.storage.records import Grant
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed

router = APIRouter(prefix="/api/v1", tags=["readings"])

#: A message may be this long, as at the other door, and a piece of a CSV file this long.
MOST_BYTES = {"senml": 262_144, "csv": 16_777_216}
#: How long a commit may take before the sender is told to try again. [s]
PATIENCE_S = 30.0

_KINDS = {
    "application/senml+json": "senml",
    "application/senml+cbor": "senml",
    "application/json": "senml",
    "text/csv": "csv",
}
_OUTCOMES = {
    Verdict.STORED: 200,
    Verdict.QUARANTINED: 422,
    Verdict.NOT_AUTHORISED: 403,
    Verdict.TOPIC_INVALID: 422,
}


@router.post(
    "/sites/{site}/readings",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {kind: {"schema": {"type": "string"}} for kind in _KINDS},
        },
        "security": [{"token": []}, {"bearer": []}],
    },
)
async def deliver(
    request: Request,
    backing: Backed,
    actor: Asking,
    site: Annotated[str, Path(description="The name of the site that the token is for.")],
    device: Annotated[
        str | None, Query(description="Whose readings a SenML pack holds, such as battery.")
    ] = None,
) -> dict[str, Any]:
    """Store readings: a SenML pack of one device, or CSV with "time" and "device.quantity [unit]".

    The bridge signs in with its name and its token (HTTP Basic). The answer comes once the
    readings are on disk; after no answer, or 503, send the same again: what is there already
    changes nothing. What cannot be used is set aside with the reason and shown on its page.
    """
    grant = _grant(actor, site)
    kind = _kind(request)
    body = await _body(request, MOST_BYTES[kind])
    if kind == "csv":
        return await run_in_threadpool(_import, backing, grant, body)
    if device is None:
        raise ProblemError(
            422,
            "invalid-request",
            "a SenML pack holds the readings of one device, and none is named",
            where="query parameter 'device'",
            expected="the device's name, such as battery",
            next_step="add ?device=NAME to the address",
        )
    return await _put(backing, grant, device, body)


def _kind(request: Request) -> str:
    given = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if given not in _KINDS:
        raise ProblemError(
            415,
            "not-readings",
            f"the content is {given[:80] or 'of no type'!r}",
            where="header Content-Type",
            expected=f"one of {', '.join(_KINDS)}",
            next_step="name the type of what you send",
        )
    return _KINDS[given]


def _grant(actor: Actor, site: str) -> Grant:
    grant = actor.grant
    if grant is None or grant.scope != "write":
        raise ProblemError(
            401,
            "not-signed-in",
            "the bridge's name or its token is not known here",
            where="header Authorization",
            expected="HTTP Basic with the bridge's name and its token",
            next_step="make a token with 'joulebook token add NAME --site SITE'",
            headers={"WWW-Authenticate": 'Basic realm="joulebook", charset="UTF-8"'},
        )
    if grant.site != site:
        raise ProblemError(
            403,
            "not-yours",
            f"the token of {grant.name} is for another site",
            where="the address, after /sites/",
            expected="the site that the token was made for",
            next_step="send to that site, or make a token for this one",
        )
    return grant


async def _body(request: Request, most: int) -> bytes:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise ProblemError(
                413,
                "too-long",
                f"the content is longer than {most} bytes",
                where="the request's content",
                expected=f"at most {most} bytes",
                next_step="send it in parts, or use 'joulebook import' for a file",
            )
    return bytes(body)


def _import(backing: Backing, grant: Grant, body: bytes) -> dict[str, Any]:
    site = site_named(backing.database, grant.site)
    counts = import_csv_stream(
        backing.database, site, io.BytesIO(body), source=grant.name, clock_ms=backing.clock_ms
    )
    backing.wrote()
    return asdict(counts)


async def _put(backing: Backing, grant: Grant, device: str, body: bytes) -> dict[str, Any]:
    if not backing.inbox.has_room():
        raise _later("the writer has more to do than it can hold")
    loop = asyncio.get_running_loop()
    settled: asyncio.Future[Verdict] = loop.create_future()

    def tell(verdicts: Sequence[Verdict]) -> None:
        loop.call_soon_threadsafe(_resolve, settled, verdicts[0])

    topic = f"{PREFIX}{grant.site}/{device}"
    message = Message(topic, body, backing.clock_ms(), grant.name, grant.site, grant.site_id)
    backing.inbox.put([message], tell)
    try:
        verdict = await asyncio.wait_for(settled, PATIENCE_S)
    except TimeoutError:
        raise _later("the readings are not on disk yet") from None
    if verdict is not Verdict.STORED:
        raise ProblemError(
            _OUTCOMES[verdict],
            "set-aside",
            f"none of it could be used, and all of it is kept: {verdict.value}",
            where=f"the readings of {device[:80]!r}",
            expected="a SenML pack with known units and times, see the wire format",
            next_step="read the reason on the page of what is set aside",
            link=f"/sites/{grant.site}/quarantine",
        )
    return {"verdict": verdict.value}


def _resolve(settled: asyncio.Future[Verdict], verdict: Verdict) -> None:
    if not settled.done():  # nobody waits any more
        settled.set_result(verdict)


def _later(what: str) -> ProblemError:
    return ProblemError(
        503,
        "unavailable",
        what,
        where="the writer",
        expected="a commit within seconds",
        next_step="send the same again: what is stored already changes nothing",
        headers={"Retry-After": "5"},
    )
