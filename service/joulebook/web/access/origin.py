"""A change is taken from our own pages only, and only from the one who is signed in."""

import hmac
from urllib.parse import urlsplit

from fastapi import Request

from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import Form
from joulebook.web.problems import ProblemError

#: The hidden field that holds `Actor.proof`.
PROOF = "proof"


def check_origin(request: Request) -> None:
    """Refuse a change that another site's page makes a browser send.

    Browsers name the page's origin with each POST (Fetch Standard, "append a request Origin
    header"), and where a request comes from (Fetch Metadata, ``Sec-Fetch-Site``).
    """
    origin = request.headers.get("origin")
    if origin is None:
        raise _elsewhere("it does not say which page sent it (header Origin)")
    page = urlsplit(origin)
    downgraded = request.url.scheme == "https" and page.scheme != "https"
    if page.netloc != request.headers.get("host", "") or downgraded:
        raise _elsewhere(f"it was sent by a page of {origin[:80]}")
    came = request.headers.get("sec-fetch-site", "same-origin")
    if came not in ("same-origin", "none"):
        raise _elsewhere("it was sent by a page of another site")


def check_proof(form: Form, actor: Actor) -> None:
    """Refuse a form that does not hold what the page of this very session gave it."""
    given = form.fields.pop(PROOF, "")
    if not hmac.compare_digest(given.encode(), actor.proof.encode()):
        raise _elsewhere("it does not come from a page of your session")


def _elsewhere(why: str) -> ProblemError:
    return ProblemError(
        403,
        "not-from-here",
        f"the change was not made: {why}",
        where="the request",
        expected="a form of this joulebook, opened by you",
        next_step="open the page again and send it from there",
    )
