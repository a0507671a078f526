"""What could not be stored, why, and what to do next."""

from contextlib import closing

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.storage.quarantine import quarantine_count, quarantined
from joulebook.web import texts
from joulebook.web.asked import asked_page
from joulebook.web.sites import Backed, Sited

router = APIRouter(include_in_schema=False)

_PER_PAGE = 50
_SHOWN_BYTES = 240


@router.get("/sites/{site}/quarantine")
def quarantine_page(site: Sited, backing: Backed, page: str = "1") -> HTMLResponse:
    """Show what was set aside, the newest first."""
    number = asked_page(page, link=f"/sites/{site.name}/quarantine")
    with closing(backing.database.connect()) as connection:
        count = quarantine_count(connection, site.id)
        kept = quarantined(connection, site.id, limit=_PER_PAGE, offset=(number - 1) * _PER_PAGE)
    entries = [
        {
            "kept": each,
            "payload": shown_payload(each.refused.payload),
            "refusal": texts.refusal(each.refused.reason),
        }
        for each in kept
    ]
    return HTMLResponse(
        backing.render(
            "quarantine.html",
            site=site,
            count=count,
            entries=entries,
            page=number,
            older=number * _PER_PAGE < count,
            set_aside=count,
            current="quarantine",
        )
    )


def shown_payload(payload: bytes) -> str:
    """Return the start of a payload: as text where it is text, else as hexadecimal numbers."""
    start = payload[:_SHOWN_BYTES]
    more = f" … ({len(payload)} bytes)" if len(payload) > _SHOWN_BYTES else ""
    try:
        text = start.decode()
    except UnicodeDecodeError:
        return start.hex(" ") + more
    return (text if text.isprintable() else start.hex(" ")) + more
