"""The devices of a site: what is heard of each, what is not understood, how one more is added."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from joulebook.core.quantities import QUANTITIES
from joulebook.web.access.who import Asking
from joulebook.web.pages.setup.showing import shown_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.device_rows import told_devices

router = APIRouter(include_in_schema=False)


@router.get("/sites/{site}/setup/devices")
def devices_page(site: Sited, actor: Asking, request: Request, backing: Backed) -> HTMLResponse:
    """Show the page."""
    return shown_page(
        *(backing, site, "devices"),
        actor=actor,
        devices=told_devices(backing, site),
        now_ms=backing.clock_ms(),
        host=request.url.hostname or "HOST",
        kinds=[(kind, ", ".join(QUANTITIES[kind])) for kind in QUANTITIES],
    )
