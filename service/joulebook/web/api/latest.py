"""The newest readings of a site; its page asks for them every few seconds."""

from contextlib import closing
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter

from joulebook.storage.reading import latest_readings
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.newest import newest_of

router = APIRouter(prefix="/api/v1", tags=["readings"])


@router.get("/sites/{site}/latest")
def latest(site: Sited, backing: Backed) -> dict[str, Any]:
    """Give each device's newest readings, as numbers and in words, and how old they are [s]."""
    now_ms = backing.clock_ms()
    with closing(backing.database.connect()) as connection:
        newest = newest_of(latest_readings(connection, site.id), now_ms=now_ms)
    return {"site": site.name, "now_ms": now_ms, "devices": [asdict(device) for device in newest]}
