"""All homes that whoever asks may see, those that need somebody first."""

from collections.abc import Mapping
from typing import Annotated, Any

import msgspec
from fastapi import APIRouter, Query

from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_page
from joulebook.web.homes.choice import PER_PAGE, Home, chosen_homes, homes_at
from joulebook.web.homes.order import STATES
from joulebook.web.sites import Backed
from joulebook.web.words.home_sentences import sentence_of

router = APIRouter(prefix="/api/v1", tags=["reports"])

Part = Annotated[str, Query(alias="q", description="A part of the home's name.")]
Show = Annotated[str, Query(description="A state, or the code of a reason; all if left out.")]
Number = Annotated[str, Query(alias="page", description=f"From 1 on, {PER_PAGE} homes each.")]


@router.get("/homes")
def homes(
    backing: Backed, actor: Asking, part: Part = "", show: Show = "all", page: Number = "1"
) -> dict[str, Any]:
    """Give a page of homes: why each needs somebody, and its capacity and fade beside its peers."""
    number = asked_page(page, link="/api/v1/homes")
    chosen = chosen_homes(backing, actor, q=part, show=show)
    first = (number - 1) * PER_PAGE
    now_ms = backing.clock_ms()
    there = homes_at(backing, chosen.places[first : first + PER_PAGE])
    return {
        "homes": [_document(home, now_ms) for home in there],
        "page": number,
        "pages": -(-len(chosen.places) // PER_PAGE),
        "found": len(chosen.places),
        "all": chosen.all,
        "states": {state: chosen.counts.get(state, 0) for state in STATES},
        "reasons": {
            code: count for code, count in sorted(chosen.counts.items()) if code not in STATES
        },
    }


def _document(home: Home, now_ms: int) -> dict[str, Any]:
    return {
        "name": home.name,
        "state": home.state,
        "reasons": [
            {
                "code": each.code,
                "sentence": sentence_of(home, each, now_ms=now_ms),
                "since_ms": each.since_ms,
                "until": each.until,
                "months": each.months,
                "missing": list(each.missing),
            }
            for each in home.reasons
        ],
        "numbers": _plain(home.numbers),
        "peers": _plain(home.peers),
        "heard_ms": home.heard_ms,
        "made_ms": home.made_ms,
    }


def _plain(struct: Any) -> Any:
    """Return a struct with its empty fields too, which are null."""
    if isinstance(struct, msgspec.Struct):
        fields: Mapping[str, Any] = msgspec.structs.asdict(struct)
        return {name: _plain(value) for name, value in fields.items()}
    return struct
