"""All homes that somebody looks after: those that need him first, with the reason in words."""

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from joulebook.core.fleet.peers import METHOD
from joulebook.summaries.homes.numbers import Measured, Outlook
from joulebook.summaries.homes.peers import Beside
from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_page
from joulebook.web.homes.choice import PER_PAGE, Chosen, Home, chosen_homes, homes_at
from joulebook.web.homes.table import table_of
from joulebook.web.region import formats
from joulebook.web.shown import PERCENT, PERCENT_WHOLE, Unit
from joulebook.web.sites import Backed
from joulebook.web.words.home_sentences import (
    PERCENT_A_YEAR,
    lead_of,
    number_words,
    peers_words,
    sentence_of,
)
from joulebook.web.words.home_texts import CAUTION, NOTES, SHOWN

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A home as the page shows it."""

    name: str
    note: str | None  # where there is no reason
    reasons: list[str]
    facts: list[tuple[str, list[str]]]


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
        homes=[_told(home, now_ms) for home in homes],
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


def _told(home: Home, now_ms: int) -> Told:
    return Told(
        name=home.name,
        note=None if home.reasons else NOTES[home.state],
        reasons=[sentence_of(home, each, now_ms=now_ms) for each in home.reasons],
        facts=_facts(home, now_ms),
    )


def _facts(home: Home, now_ms: int) -> list[tuple[str, list[str]]]:
    """Return the numbers of a home as pairs of a name and lines of words."""
    numbers, peers = home.numbers, home.peers
    if numbers is None:
        return []
    facts = [
        ("Holds", _number(numbers.capacity, None if peers is None else peers.capacity, PERCENT))
    ]
    # What keeps both from being given is said once.
    if numbers.fade.reason is None or numbers.fade.reason != numbers.capacity.reason:
        facts.append(
            ("Loses", _number(numbers.fade, None if peers is None else peers.fade, PERCENT_A_YEAR))
        )
    if numbers.outlook is not None:
        facts.append(("Warranty", _warranty(numbers.outlook)))
    heard = "never" if home.heard_ms is None else formats.age((now_ms - home.heard_ms) / 1000)
    return [*facts, ("Heard", [heard])]


def _number(number: Measured, beside: Beside | None, unit: Unit) -> list[str]:
    lines = [number_words(number, unit)]
    if beside is not None and number.value is not None:
        lines.append(peers_words(beside, unit))
    return lines


def _warranty(outlook: Outlook) -> list[str]:
    assumed = ", its terms assumed" if outlook.assumed else ""
    lines = [f"until {formats.iso_plain(outlook.ends)}{assumed}"]
    if outlook.chance is not None:
        floor = PERCENT_WHOLE.text(outlook.floor_ratio)
        lines.append(f"chance to hold {floor} until then: {formats.odds(outlook.chance)}")
    return lines
