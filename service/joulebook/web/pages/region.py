"""How numbers and dates read: what a reader chooses on this device."""

from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.web.access.asking import Sent
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.region.choices import region_choices
from joulebook.web.region.reader import COOKIE, PLAIN, chosen_region
from joulebook.web.sites import Backed
from joulebook.web.words.texts import REGION_ASKED, REGION_PLAIN

router = APIRouter(include_in_schema=False)

#: What the form sends for "as the browser asks".
_ASKED = "asked"
_CHOICES = (
    (_ASKED, REGION_ASKED),
    (PLAIN, REGION_PLAIN),
)
_KEPT_S = 400 * 86_400  # the longest that browsers keep a cookie (RFC 6265bis, 5.5)


@router.get("/region")
def region_page(request: Request, backing: Backed, done: str | None = None) -> HTMLResponse:
    """Show how numbers and dates read now, and the choice."""
    return _page(request, backing, Form(), done=done is not None)


@router.post("/region")
def choose_region(request: Request, backing: Backed, form: Sent) -> Response:
    """Keep the choice on this device."""
    chosen = form.choice("region", [sent for sent, _ in _choices()])
    if form.errors:
        return _page(request, backing, form)
    answer = RedirectResponse("/region?done=chosen", 303)
    if chosen == _ASKED:
        answer.delete_cookie(COOKIE, samesite="lax", httponly=True)
    else:
        answer.set_cookie(COOKIE, chosen, max_age=_KEPT_S, samesite="lax", httponly=True)
    return answer


def _choices() -> tuple[tuple[str, str], ...]:
    return (*_CHOICES, *region_choices())


def _page(request: Request, backing: Backing, form: Form, *, done: bool = False) -> HTMLResponse:
    chosen = _ASKED if chosen_region(request) is None else request.cookies[COOKIE]
    page = backing.render(
        "region.html",
        form=form,
        choices=_choices(),
        chosen=chosen,
        number=12_345.6,  # jinja computes what it does to a constant once and for all
        now_ms=backing.clock_ms(),
        zone=ZoneInfo("UTC"),
        done=done,
    )
    return HTMLResponse(page, 422 if form.errors else 200)
