"""What joulebook is, and the cautions for whoever goes to the hardware."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.web.sites import Backed

router = APIRouter(include_in_schema=False)


@router.get("/about")
def about(backing: Backed) -> HTMLResponse:
    """Show the page."""
    return HTMLResponse(backing.render("about.html"))
