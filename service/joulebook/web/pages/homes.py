"""All homes that somebody looks after: those that need him first, with the reason in words."""

from urllib.parse import urlencode

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from joulebook.core.fleet.peers import METHOD
from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_page
from joulebook.web.homes.choice import PER_PAGE, Chosen, chosen_homes, homes_at
from joulebook.web.homes.table import table_of
from joulebook.web.sites import Backed
from joulebook.web.words.home_rows import told_home
from joulebook.web.words.home_sentences import (
    lead_of,
)
from joulebook.web.words.home_texts import CAUTION, SHOWN

router = APIRouter(include_in_schema=False)


@router.get("/homes")
def homes_page(
    backing: Backed, actor: Asking, q: str = "", show: str = "all", page: str = "1"
) -> HTMLResponse:
    """Show the homes, a page of them."""
    number = asked_page(page, link="/homes")
    chosen = chosen_homes(backing, actor, q=q, show=show)
    now_ms = backing.clock_ms()
    first = (number - 1) * PER_PAGE
    homes = homes_at(backing, chosen.places[first : first + PER_PAGE])
    found = len(chosen.places)
    shown = backing.render(
        "homes.html",
        lead=lead_of(chosen.counts, chosen.all),
        caution=CAUTION if chosen.counts.get("danger") else None,
        homes=[told_home(home, now_ms) for home in homes],
        asked=chosen.asked,
        show=chosen.show,
        choices=_choices(chosen),
        every=chosen.all,
        found=found,
        first=first + 1,
        last=first + len(homes),
        page=number,
        table=_address("/homes.csv", chosen),
        older=_address("/homes", chosen, number + 1) if first + PER_PAGE < found else None,
        newer=_address("/homes", chosen, number - 1) if number > 1 else None,
        method=METHOD,
        current="homes",
    )
    return HTMLResponse(shown)


@router.get("/homes.csv")
def homes_table(backing: Backed, actor: Asking, q: str = "", show: str = "all") -> Response:
    """Return the homes that were asked for, all of them, as a table."""
    chosen = chosen_homes(backing, actor, q=q, show=show)
    return StreamingResponse(
        table_of(backing, chosen.places, now_ms=backing.clock_ms()),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": 'attachment; filename="homes.csv"'},
    )


def _choices(chosen: Chosen) -> list[tuple[str, str]]:
    """Return what can be chosen, with how many there are; what nobody has is left out."""
    counts = {"all": chosen.all, **chosen.counts}
    return [
        (show, f"{words} ({counts.get(show, 0)})")
        for show, words in SHOWN.items()
        if counts.get(show) or show in ("all", "now", chosen.show)
    ]


def _address(path: str, chosen: Chosen, page: int = 1) -> str:
    asked = {"q": chosen.asked, "show": "" if chosen.show == "all" else chosen.show}
    query = {name: value for name, value in asked.items() if value}
    if page > 1:
        query["page"] = str(page)
    return f"{path}?{urlencode(query)}" if query else path
