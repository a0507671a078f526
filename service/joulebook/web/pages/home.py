"""The list of sites, which goes straight on where there is one."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.web.access.who import Asking
from joulebook.web.sites import Backed, seen_names, seen_sites

router = APIRouter(include_in_schema=False)

#: A longer list helps nobody.
MOST_LISTED = 30


@router.get("/")
def home(backing: Backed, actor: Asking) -> Response:
    """Show the sites; where there are many, those that need someone."""
    names = seen_names(backing, actor)
    if len(names) == 1:
        return RedirectResponse(f"/sites/{names[0]}", 307)
    if len(names) > MOST_LISTED:
        return RedirectResponse("/homes", 307)
    page = backing.render(
        "home.html",
        sites=seen_sites(backing, actor),
        data_dir=backing.database.data_dir,
        may_add=actor.may_run_the_house(),
    )
    return HTMLResponse(page)
