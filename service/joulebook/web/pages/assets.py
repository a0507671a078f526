"""Static files."""

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import Response

from joulebook.web.backing import Backing, backing_of
from joulebook.web.frame import WORKER

router = APIRouter(include_in_schema=False)


@router.get("/assets/{digest}/{name}")
def static_file(
    request: Request, digest: str, name: str, backing: Annotated[Backing, Depends(backing_of)]
) -> Response:
    """Return a file that never changes under this address."""
    asset = backing.assets.find(digest, name)
    if asset is None:
        raise HTTPException(404)
    headers = {"Cache-Control": "public, max-age=31536000, immutable", "Vary": "Accept-Encoding"}
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return Response(asset.content, headers=headers, media_type=asset.media_type)
    headers["Content-Encoding"] = "gzip"
    return Response(asset.packed(), headers=headers, media_type=asset.media_type)


@router.get("/worker.js")
def worker(backing: Annotated[Backing, Depends(backing_of)]) -> Response:
    """Return the service worker; from here, so that it may speak for every page."""
    asset = backing.assets.named(WORKER)
    return Response(asset.content, media_type=asset.media_type)
