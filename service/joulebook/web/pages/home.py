"""The list of sites, which goes straight on where there is one."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.web.access.who import Asking
from joulebook.web.sites import Backed, seen_sites

router = APIRouter(include_in_schema=False)


@router.get("/")
def home(backing: Backed, actor: Asking) -> Response:
    """Show the sites."""
    known = seen_sites(backing, actor)
    if len(known) == 1:
        return RedirectResponse(f"/sites/{known[0].name}", 307)
    page = backing.render(
        "home.html",
        sites=known,
        data_dir=backing.database.data_dir,
        may_add=actor.may_run_the_house(),
    )
    return HTMLResponse(page)
