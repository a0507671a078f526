"""What was changed, by whom and when."""

from contextlib import closing
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.storage.audit import audit_log
from joulebook.web.access.asking import Keeper
from joulebook.web.asked import asked_page
from joulebook.web.sites import Backed

router = APIRouter(include_in_schema=False)

_PER_PAGE = 50


@router.get("/audit")
def audit_page(backing: Backed, keeper: Keeper, page: str = "1") -> HTMLResponse:
    """Show the changes, the latest first: all, or those of his organisations."""
    number = asked_page(page, link="/audit")
    with closing(backing.database.connect()) as connection:
        # One more than is shown tells whether there are older ones.
        found = audit_log(
            connection,
            organisation_ids=None if keeper.may_run_the_house() else keeper.owned(),
            most=_PER_PAGE + 1,
            skip=(number - 1) * _PER_PAGE,
        )
    shown = backing.render(
        "audit.html",
        changes=found[:_PER_PAGE],
        page=number,
        older=len(found) > _PER_PAGE,
        zone=ZoneInfo("UTC"),
    )
    return HTMLResponse(shown)
