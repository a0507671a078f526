"""Signing in and out."""

from contextlib import closing
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.storage.people import has_owner
from joulebook.storage.sessions import close_session
from joulebook.web.access.asking import Sent
from joulebook.web.access.cookies import forget_session
from joulebook.web.access.forms import Form
from joulebook.web.access.signing_in import own_path, signed_in, try_password
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults

router = APIRouter(include_in_schema=False)

Following = Annotated[str, Query(alias="next")]


@router.get("/sign-in")
def sign_in_page(backing: Backed, actor: Asking, following: Following = "/") -> Response:
    """Ask for name and password; or say how to become the owner, while there is none."""
    if actor.kind == "person":
        return RedirectResponse(own_path(following), 303)
    return _page(backing, Form(), following=own_path(following))


@router.post("/sign-in")
def sign_in(request: Request, form: Sent, backing: Backed, actor: Asking) -> Response:
    """Begin a session."""
    following = own_path(form.fields.get("next", "/"))
    name = form.text("name", most=80, needed=True)
    password = form.fields.pop("password", "")  # never shown again
    if form.errors:
        return _page(backing, form, following=following, status=422)
    try:
        found = try_password(backing, request, name, password)
    except ProblemError as problem:
        form.errors[""] = faults.too_many_attempts(problem.expected)
        answer = _page(backing, form, following=following, status=problem.status)
        answer.headers.update(problem.headers)
        return answer
    if found is None:
        form.errors[""] = faults.NOT_TOGETHER
        return _page(backing, form, following=following, status=403)
    person_id, name = found
    return signed_in(backing, request, person_id=person_id, name=name, was=actor, to=following)


@router.post("/sign-out")
def sign_out(request: Request, _form: Sent, backing: Backed, actor: Asking) -> Response:
    """End the session of this browser."""
    if actor.session_id is not None:
        with closing(backing.database.connect()) as connection:
            close_session(connection, actor.session_id)
    answer = RedirectResponse("/sign-in", 303)
    forget_session(answer, request, backing.rules)
    return answer


def _page(backing: Backing, form: Form, *, following: str, status: int = 200) -> Response:
    with closing(backing.database.connect()) as connection:
        owned = has_owner(connection)
    page = backing.render("sign_in.html", form=form, following=following, owned=owned)
    return HTMLResponse(page, status, {"Cache-Control": "no-store"})
